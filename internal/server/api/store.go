package api

import (
	"context"
	"time"

	"hoseward/internal/register"
)

// Store is the register as the API needs it, as far as a caller may see it.
type Store interface {
	Sites(ctx context.Context) ([]register.Site, error)
	Kinds(ctx context.Context) ([]register.Kind, error)
	Kind(ctx context.Context, name string) (register.KindSheet, error)
	Policies(ctx context.Context) ([]register.Policy, error)
	Counts(ctx context.Context, now time.Time, site string) (register.Counts, error)

	MachineCodes(ctx context.Context) ([]string, error)
	MachineLines(ctx context.Context, now time.Time, f register.MachineFilter) ([]register.MachineLine, string, error)
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	Positions(ctx context.Context, now time.Time, f register.PositionFilter) (register.PositionPage, error)
	PositionSheet(ctx context.Context, now time.Time, machine, name string) (register.PositionSheet, error)
	Assemblies(ctx context.Context, now time.Time, f register.AssemblyFilter) (register.AssemblyPage, error)
	AssemblySheet(ctx context.Context, now time.Time, code string) (register.AssemblySheet, error)
	Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error)
	Search(ctx context.Context, now time.Time, text string, limit int) (register.Found, error)

	PlacementSheet(ctx context.Context, id int64) (register.PlacementSheet, error)
	Reading(ctx context.Context, id int64) (register.Reading, string, error)
	MeterEvent(ctx context.Context, id int64) (register.MeterEvent, string, error)
	LayUp(ctx context.Context, id int64) (register.LayUp, string, error)
	Conditions(ctx context.Context, id int64) (register.Conditions, string, error)
	Inspection(ctx context.Context, id int64) (register.Inspection, string, error)
	Finding(ctx context.Context, id int64) (register.Finding, string, error)

	Preview(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Preview, error)
	ApplyOnce(ctx context.Context, now time.Time, by register.Actor, once register.Once,
		answer func(register.Result) (status int, body []byte, err error), cmds ...register.Command) (register.Answer, register.Result, error)
	Answered(ctx context.Context, now time.Time, personID int64, once register.Once) (register.Answer, error)
}
