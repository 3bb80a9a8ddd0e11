package register

import "hoseward/internal/quantity"

// Reading is what a machine's hour meter showed on a day.
type Reading struct {
	ID        int64
	MachineID int64
	On        quantity.Date `gorm:"column:on_day"`
	Hours     float64
	Source    string // page, import, fitting, ...
	// Disputed readings are kept and left out of the computation.
	Disputed bool
	Note     string
	Version  int
}

// MeterEvent is a meter that was replaced or rolled over.
type MeterEvent struct {
	ID        int64
	MachineID int64
	On        quantity.Date `gorm:"column:on_day"`
	OldEnd    float64
	NewStart  float64
	Note      string
	Version   int
}

// LayUp is a time a machine was out of use, from From up to, not including, To.
type LayUp struct {
	ID        int64
	MachineID int64
	From      quantity.Date `gorm:"column:from_on"`
	To        quantity.Date `gorm:"column:to_on"` // no date while it lasts
	Reason    string
	Version   int
}
