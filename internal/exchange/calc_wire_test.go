package exchange

import (
	"encoding/json"

	"hoseward/internal/quantity"
)

// wireLine is a line of `calc life` as encoding/json reads it: the second
// opinion that our reader is held to.
type wireLine struct {
	ID   *string        `json:"id"`
	AsOf *quantity.Date `json:"as_of"`
	Hose *struct {
		Designation   *string        `json:"designation"`
		Construction  *string        `json:"construction"`
		Tube          *string        `json:"tube"`
		DN            *float64       `json:"dn"`
		RatedBar      *float64       `json:"rated_bar"`
		Made          *quantity.Date `json:"made"`
		MaxC          *float64       `json:"max_c"`
		ImpulsePct    *float64       `json:"impulse_percent"`
		ImpulseCycles *float64       `json:"impulse_cycles"`
		ImpulseTempC  *float64       `json:"impulse_temp_c"`
	} `json:"hose"`
	Ends []*struct {
		RatedBar *float64 `json:"rated_bar"`
	} `json:"ends"`
	Assembled   *quantity.Date  `json:"assembled"`
	Fitted      *quantity.Date  `json:"fitted"`
	FittedHours *float64        `json:"fitted_hours"`
	CanHurt     *bool           `json:"can_hurt"`
	Fluid       *string         `json:"fluid"`
	Policy      json.RawMessage `json:"policy"`
	Conditions  []struct {
		From         *quantity.Date `json:"from"`
		Recorded     *bool          `json:"recorded"`
		Assessed     *quantity.Date `json:"assessed"`
		FluidC       *float64       `json:"fluid_c"`
		Surroundings *float64       `json:"surroundings_c"`
		Temperatures []struct {
			C     *float64 `json:"c"`
			Share *float64 `json:"share"`
		} `json:"temperatures"`
		AdapterBar *float64 `json:"adapter_bar"`
		Cycles     []struct {
			MinBar  *float64 `json:"min_bar"`
			MaxBar  *float64 `json:"max_bar"`
			PerHour *float64 `json:"per_hour"`
		} `json:"cycles"`
	} `json:"conditions"`
	Readings []struct {
		On    *quantity.Date `json:"on"`
		Hours *float64       `json:"hours"`
	} `json:"readings"`
	MeterEvents []struct {
		On       *quantity.Date `json:"on"`
		OldEnd   *float64       `json:"old_end"`
		NewStart *float64       `json:"new_start"`
	} `json:"meter_events"`
	LaidUp []struct {
		From *quantity.Date `json:"from"`
		To   *quantity.Date `json:"to"`
	} `json:"laid_up"`
	Planned  *float64 `json:"planned_hours_per_week"`
	Findings []struct {
		On       *quantity.Date `json:"on"`
		Class    *string        `json:"class"`
		By       *quantity.Date `json:"by"`
		Released *quantity.Date `json:"released"`
	} `json:"findings"`
	LastInspection *quantity.Date `json:"last_inspection"`
}
