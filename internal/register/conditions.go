package register

import (
	"database/sql/driver"
	"encoding/json"
	"fmt"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Basis says how a value is known.
type Basis string

// The bases.
const (
	Measured Basis = "measured"
	Assumed  Basis = "assumed"
)

// Level says what a row of service conditions is about. The nearest wins,
// field by field: position, then circuit, then machine, then the duty of the
// machine's kind.
type Level string

// The levels, nearest first.
const (
	AtPosition Level = "position"
	AtCircuit  Level = "circuit"
	AtMachine  Level = "machine"
	AtKind     Level = "kind"
)

// Conditions is one row of service conditions: what is said of a position, a
// circuit or a machine from one day on. A nil or empty field says nothing, and
// leaves what an earlier row or a farther level says.
type Conditions struct {
	ID      int64
	Level   Level // position, circuit or machine
	OwnerID int64
	From    quantity.Date `gorm:"column:from_on"`
	Service
	Basis   Basis
	Note    string // where the values come from
	Version int
}

// Duty is the starting value of service conditions for a kind of machine, and
// for one of its circuits where Circuit is not empty. Duties are always
// assumed.
type Duty struct {
	ID      int64
	KindID  int64
	Circuit string // a circuit's name; empty for the whole machine
	Service
	Note    string
	Version int
}

// Service holds the fields of service conditions, each nil or empty where
// nothing is said.
type Service struct {
	FluidC        *float64
	SurroundingsC *float64
	AlwaysHot     *bool
	Temperatures  Temperatures `gorm:"type:text"`
	AdapterBar    *float64
	WorkingBar    *float64
	Cycles        Cycles `gorm:"type:text"`
	NoCycles      *bool
	Recorded      *bool // the cycles come from a recorded pressure log
	AssessedOn    quantity.Date
}

// Cycles is stored as JSON.
type Cycles []life.Cycle

// Temperatures is stored as JSON.
type Temperatures []life.TemperatureShare

// Value stores the rows as JSON, none as NULL.
func (c Cycles) Value() (driver.Value, error) { return jsonValue([]life.Cycle(c)) }

// Scan reads what Value stores.
func (c *Cycles) Scan(src any) error { return jsonScan(src, (*[]life.Cycle)(c)) }

// Value stores the rows as JSON, none as NULL.
func (t Temperatures) Value() (driver.Value, error) { return jsonValue([]life.TemperatureShare(t)) }

// Scan reads what Value stores.
func (t *Temperatures) Scan(src any) error { return jsonScan(src, (*[]life.TemperatureShare)(t)) }

// Words is a list of words, stored as JSON.
type Words []string

// Value stores the words as JSON, none as NULL.
func (w Words) Value() (driver.Value, error) { return jsonValue([]string(w)) }

// Scan reads what Value stores.
func (w *Words) Scan(src any) error { return jsonScan(src, (*[]string)(w)) }

func jsonValue[T any](rows []T) (driver.Value, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	b, err := json.Marshal(rows)
	return string(b), err
}

func jsonScan[T any](src any, rows *[]T) error {
	switch v := src.(type) {
	case nil:
		*rows = nil
		return nil
	case string:
		return json.Unmarshal([]byte(v), rows)
	case []byte:
		return json.Unmarshal(v, rows)
	}
	return fmt.Errorf("read rows from %T: not supported", src)
}
