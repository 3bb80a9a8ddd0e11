package life

import "hoseward/internal/life/heat"

// Where values come from, as the program shows it beside them.
const (
	SourceStandard = "standard"
	SourceSeen     = "seen in restatements"
	SourceMemory   = "from memory"
	SourceChoice   = "own choice, not a standard"
	SourcePractice = "common practice, no source"
	SourceFact     = "as entered"
	SourceComputed = "computed"
)

// Values used where a policy has none. Each is the strictest the program
// ships.
const (
	// DefaultDamageLimit is how far the damage sum may go. Choice: 5 % more
	// pressure is 1.7 times the damage.
	DefaultDamageLimit = 0.5
	// DefaultAssumedFactor multiplies the damage of cycles that are assumed,
	// not recorded. Choice.
	DefaultAssumedFactor = 2
	// referenceBelowMax is how far below the hose's highest temperature the
	// heat reference lies, in kelvin. Choice.
	referenceBelowMax = 20
	// waterLimitC is the highest temperature with water and fluids that
	// contain it, in degrees Celsius (scopes of EN 853, 854, 857:2015).
	waterLimitC = 70
	// The months of the policy for normal demand (DIN 20066, DGUV Regel
	// 113-020, seen in restatements).
	normalMonths, normalStorage, normalHoseAge, normalInspect = 72, 24, 48, 12
	// lowestTestTemperature is the temperature of the impulse test where it is
	// unknown, the lowest of the published ones, in degrees Celsius.
	lowestTestTemperature = 100
)

// DefaultHeatReferenceC is the reference temperature of the heat clock for a
// hose with that highest temperature, both in degrees Celsius. Choice.
func DefaultHeatReferenceC(maxC float64) float64 { return maxC - referenceBelowMax }

// DefaultEaKJ is the activation energy for a tube material in kJ/mol; the
// highest, that of NBR, where the material is unknown.
func DefaultEaKJ(tube string) float64 { return heat.EaFor(tube).KJ }

// LimitInForce is the limit of the damage sum that an assembly is held to: the
// policy's or DefaultDamageLimit, halved where a burst can hurt someone,
// halved again where its rating is unconfirmed.
func LimitInForce(a *Assembly) float64 { return damageLimit(a, confirmed(a)) }

// Sourced is a policy that comes with the program, and where its values are
// from.
type Sourced struct {
	Policy Policy
	Source string
	// Notes say of single values what they are; shown beside them.
	Notes []string
}

func months(n int) *int { return &n }

const choiceNote = "The damage limit 0.5, the factor 2 for assumed cycles and the heat reference 20 K below the hose's highest temperature are our own choice, not a standard."

// NormalDemand is the policy for normal demand: 72 months from assembly of
// which 24 in store, hose at most 48 months old when assembled, inspection
// every 12 months. DIN 20066, DGUV Regel 113-020, seen in restatements.
func NormalDemand() Policy {
	return Policy{
		Name: "normal demand", MonthsFromAssembly: months(normalMonths),
		StorageMonths: months(normalStorage), HoseAgeMonths: months(normalHoseAge), InspectMonths: months(normalInspect),
	}
}

// HeightenedDemand is the policy for heightened demand, such as work in
// several shifts or short machine cycles: as normal demand, and 24 months from
// first fitting, inspection every 6 months. Same sources.
func HeightenedDemand() Policy {
	p := NormalDemand()
	p.Name, p.MonthsFromFitting, p.InspectMonths = "heightened demand", months(24), months(6)
	return p
}

// ThermoplasticOrPTFE is the policy for tubes that do not age like rubber: no
// limit in months, inspection every 12 months. SAE J1273, seen in
// restatements; a maker's limit should be entered.
func ThermoplasticOrPTFE() Policy {
	return Policy{Name: "thermoplastic or PTFE tube", InspectMonths: months(12)}
}

// ShippedPolicies are the policies that come with the program, with their
// sources.
func ShippedPolicies() []Sourced {
	const german = "DIN 20066 and DGUV Regel 113-020 (" + SourceSeen + ")"
	return []Sourced{
		{NormalDemand(), german, []string{
			"The 24 months in store are part of the 72 months from assembly.",
			choiceNote,
		}},
		{HeightenedDemand(), german, []string{
			"The 24 months are operating time from first fitting; the 72 months from assembly still hold.",
			choiceNote,
		}},
		{ThermoplasticOrPTFE(), "no rubber ageing; SAE J1273 (" + SourceSeen + "); inspection interval: " + SourceChoice, []string{
			"Enter the limit the hose's maker gives.",
			choiceNote,
		}},
	}
}
