package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

var postgres *testkit.PostgresServer

func TestMain(m *testing.M) {
	postgres = testkit.StartPostgres()
	code := m.Run()
	if err := postgres.Stop(); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	os.Exit(code)
}

// now is noon of 25 November 2026 in UTC.
var now = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

var me = register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage}

// onBoth runs a test on both engines, each time on an empty register.
func onBoth(t *testing.T, f func(t *testing.T, s *store.Store)) {
	t.Helper()
	t.Parallel()
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			f(t, open(t, address(t, engine)))
		})
	}
}

// address is where an empty register may be made.
func address(t testing.TB, engine string) string {
	t.Helper()
	if engine == store.Postgres {
		return testkit.Postgres(t, postgres)
	}
	return filepath.Join(t.TempDir(), "register.db")
}

func open(t testing.TB, dsn string) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), dsn, store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func apply(t testing.TB, s *store.Store, cmds ...register.Command) register.Result {
	t.Helper()
	r, err := s.Apply(context.Background(), now, me, cmds...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func day(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

func f64(v float64) *float64 { return &v }

// depot is a site with one machine of two positions.
func depot() []register.Command {
	return []register.Command{
		register.AddSite{Name: "Depot", Zone: "Europe/Berlin"},
		register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-01", Name: "Truck one", PlannedHoursPerWeek: f64(40)},
		register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift left"},
		register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift right", CanHurt: true},
	}
}

// hose is an assembly made in June 2024.
func hose(code string) register.AddAssembly {
	return register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
		Code: code, Designation: "EN 853 2SN", DN: 12, Dash: 8, RatedBar: f64(275), RatingSource: register.RatingPrinted,
		MaxC: f64(100), Tube: "NBR", Made: quantity.Day(day("2024-04-01")), Assembled: quantity.Day(day("2024-06-18")),
	}}
}

func fit(code, position, on string) register.Fit {
	return register.Fit{AssemblyCode: code, Machine: "RT-01", Position: position, On: day(on)}
}

// onPostgres runs a test on PostgreSQL alone: SQLite has no such thing.
func onPostgres(t *testing.T, f func(t *testing.T, s *store.Store)) {
	t.Helper()
	t.Parallel()
	f(t, open(t, address(t, store.Postgres)))
}
