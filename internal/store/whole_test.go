package store_test

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/demo"
	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// whole is a register as a file.
func whole(t testing.TB, s *store.Store, format exchange.Format) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := exchange.NewWholeWriter(&b, format, register.Head{Seq: 7, Hash: strings.Repeat("ab", 32)})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Whole(context.Background(), w.Write); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// take takes a file into a register.
func take(t testing.TB, s *store.Store, file []byte) (register.WholeReport, error) {
	t.Helper()
	src, err := exchange.OpenWhole(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return register.WholeReport{}, err
	}
	defer func() {
		if err := src.Close(); err != nil {
			t.Error(err)
		}
	}()
	return s.TakeWhole(context.Background(), now, me, src)
}

func mustTake(t testing.TB, s *store.Store, file []byte) register.WholeReport {
	t.Helper()
	r, err := take(t, s, file)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sameRegister compares all two registers hold and what they make of it.
func sameRegister(t testing.TB, a, b *store.Store) {
	t.Helper()
	lines := func(s *store.Store) []string { return strings.Split(string(whole(t, s, exchange.JSON)), "\n") }
	if diff := cmp.Diff(lines(a), lines(b)); diff != "" {
		t.Errorf("the registers differ (-first +second):\n%.4000s", diff)
	}
	if diff := cmp.Diff(dates(t, a), dates(t, b)); diff != "" {
		t.Errorf("the estimates differ (-first +second):\n%.4000s", diff)
	}
}

// dates are the estimates of a register as of now, by assembly.
func dates(t testing.TB, s *store.Store) map[string]string {
	t.Helper()
	if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	f := register.LineFilter{Limit: 1000}
	for {
		page, err := s.Lines(context.Background(), now, f)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range page.Lines {
			e := l.Estimate
			e.AssemblyID, e.MachineID, e.SiteID, e.InputHash = 0, 0, 0, "" // the digest covers ids
			text, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			out[l.MachineCode+"/"+l.Position+"/"+l.AssemblyCode+"/"+string(l.Status)] = string(text)
		}
		if f.After = page.Next; f.After == "" {
			return out
		}
	}
}

func bothFormats(t *testing.T, f func(t *testing.T, format exchange.Format)) {
	t.Helper()
	for _, format := range []exchange.Format{exchange.JSON, exchange.XLSX} {
		t.Run(string(format), func(t *testing.T) { f(t, format) })
	}
}

func TestWhole_AFilledRegisterComesBackEqual(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fill(t, a)
		bothFormats(t, func(t *testing.T, format exchange.Format) {
			b := open(t, address(t, a.Engine()))
			r := mustTake(t, b, whole(t, a, format))
			if !r.Taken || r.Rows[register.PartAssemblies] != 5 || r.Stale != 0 {
				t.Errorf("report: %+v", r)
			}
			sameRegister(t, a, b)
			if diff := cmp.Diff(strings.Split(tables(t, a), "\n"), strings.Split(tables(t, b), "\n")); diff != "" {
				t.Errorf("the tables differ (-first +second):\n%.4000s", diff)
			}
			if _, broken, err := b.VerifyChain(context.Background()); broken != 0 || err != nil {
				t.Errorf("the change log is broken at %d: %v", broken, err)
			}
		})
	})
}

func TestWhole_DemoFleetsComeBackEqual(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		apply(t, a, demo.Fleet(7, day("2026-11-25"))...)
		bothFormats(t, func(t *testing.T, format exchange.Format) {
			b := open(t, address(t, a.Engine()))
			r := mustTake(t, b, whole(t, a, format))
			if r.Rows[register.PartPlacements] < 400 || r.Rows[register.PartFindings] < 20 {
				t.Errorf("the fleet is too small to prove much: %v", r.Rows)
			}
			sameRegister(t, a, b)
		})
	})
}
