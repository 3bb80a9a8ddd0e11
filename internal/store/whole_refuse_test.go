package store_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// swapped is a file with one text put in another's place, which must be there.
func swapped(t testing.TB, file []byte, old, new string) []byte {
	t.Helper()
	out := bytes.Replace(file, []byte(old), []byte(new), 1)
	if bytes.Equal(out, file) {
		t.Fatalf("%s is not in the file:\n%s", old, file)
	}
	return out
}

// What no command would let in, no file brings in; the refusal says where it
// stands, and nothing of the file stays.
func TestTakeWhole_HoldsTheRulesOfCommands(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fill(t, a)
		good := whole(t, a, exchange.JSON)
		b := open(t, address(t, a.Engine()))
		before := tables(t, b)
		for _, c := range []struct{ why, old, new, says string }{
			{"an empty name", `{"name":"Depot"`, `{"name":""`, "sites[0], name: Give the site's name."},
			{"a zone there is not", `Europe/Berlin`, `Europe/Nowhere`, "sites[0], zone: There is no time zone Europe/Nowhere"},
			{"a policy there is not", `"zone":"Europe/Berlin","policy":"normal demand"`, `"zone":"Europe/Berlin","policy":"none"`, "sites[0], policy: There is no policy none"},
			{"a policy milder than normal without a word", `"months_from_assembly":72`, `"months_from_assembly":73`, "policies[0], months_from_assembly: This limit is milder"},
			{"a machine of no site", `"site":"Depot","kind"`, `"site":"Moon","kind"`, "machines[0], site: There is no site Moon"},
			{"a machine of no kind", `"kind":"refuse truck","code"`, `"kind":"rocket","code"`, "machines[0], kind: There is no kind of machine rocket"},
			{"a code beyond all bounds", `"code":"RT-01"`, `"code":"` + strings.Repeat("9", 61) + `"`, "at most 60 fit"},
			{"a position in no circuit", `"machine":"RT-01","circuit":"lift","name":"lift left"`, `"machine":"RT-01","circuit":"left","name":"lift left"`, "positions[0], circuit: Machine RT-01 has no circuit left"},
			{"two positions of one name", `"circuit":"lift","name":"lift right"`, `"circuit":"lift","name":"LIFT LEFT"`, "positions[1]: The machine has a position of this name already."},
			{"two assemblies of one code", `"code":"H-C"`, `"code":"h-a"`, "assemblies[2]: There is an assembly of this code already."},
			{"a hose made after its assembly", `"made":"2024-04-01"`, `"made":"2025-04-01"`, "assemblies[0], assembled: The assembly was made (2024-06-18) before its hose"},
			{"a placement of no assembly", `{"assembly":"H-C","machine"`, `{"assembly":"H-X","machine"`, "There is no assembly H-X"},
			{"a placement to come", `"from_on":"2026-06-01"`, `"from_on":"2027-06-01"`, "placements[3], from_on: 2027-06-01 lies ahead"},
			{"two at a position", `"from_on":"2026-06-01"`, `"from_on":"2026-05-31"`, "held assembly H-B"},
			{"one at two positions", `{"assembly":"H-C","machine"`, `{"assembly":"H-A","machine"`, "already"},
			{"fitted before it was made", `"position":"lift left","from_on":"2024-07-02"`, `"position":"lift left","from_on":"2024-01-02"`, "placements[0], made: The hose was made in 2024-04-01 but fitted on 2024-01-02"},
			{"came off for no reason", `"cause":"pressure"`, `"cause":""`, "placements[1], cause: It came off on 2026-06-01; say why."},
			{"scrapped, but it sits there", `"note":"","scrapped_on":null`, `"note":"","scrapped_on":"2024-12-01"`, "was scrapped on 2024-12-01"},
			{"readings that fall", `"hours":4870`, `"hours":470`, "Machine RT-01:"},
			{"a reading twice", `"on":"2025-07-01","hours":4870`, `"on":"2024-07-02","hours":3120`, "The machine has this reading of that day already."},
			{"conditions of no position", `"position":"return","from_on":"2024-07-02","fluid_c"`, `"position":"nowhere","from_on":"2024-07-02","fluid_c"`, "has no position nowhere"},
			{"shares that do not add up", `"share":0.7`, `"share":0.6`, "temperatures: The shares add to 0.9"},
			{"looked at where it did not sit", `{"assembly":"H-A","on":"2026-05-30","look":1,"machine":"RT-01","position":"lift left"`, `{"assembly":"H-A","on":"2026-05-30","look":1,"machine":"RT-01","position":"return"`, "inspections[0], on: The assembly did not sit at that position"},
			{"a second look without a first", `"look":1,"machine":"RT-01","position":"lift right"`, `"look":2,"machine":"RT-01","position":"lift right"`, "inspections[1], look: The looks at assembly H-B"},
			{"a milder verdict than what was seen", `"verdict":"stop"`, `"verdict":"sound"`, "inspections[1], verdict: The verdict is not the strictest class"},
			{"a finding of no inspection", `{"assembly":"H-A","on":"2026-05-30","look":1,"number"`, `{"assembly":"H-A","on":"2026-05-29","look":1,"number"`, "findings[0], look: There is no look 1"},
			{"closed before it was seen", `"closed_on":"2026-06-01"`, `"closed_on":"2025-06-01"`, "closed_on: The finding was closed on 2025-06-01, before"},
			{"released without a reason", `"closed_how":"removed"`, `"closed_how":"released"`, "closed_reason: A release needs a reason."},
			{"a class there is not", `"class":"stop"`, `"class":"fine"`, "is not a class"},
		} {
			_, err := take(t, b, swapped(t, good, c.old, c.new))
			var r *register.Error
			if !errors.As(err, &r) || !strings.Contains(r.Sentence, c.says) {
				t.Errorf("%s: %v\nwant %q", c.why, err, c.says)
			}
		}
		if after := tables(t, b); after != before {
			t.Error("something of what was refused stayed")
		}
		mustTake(t, b, good)
		if _, err := take(t, b, good); !errors.Is(err, &register.Error{Code: register.Refused}) {
			t.Errorf("a register that is not empty: %v", err)
		}
	})
}

// In a workbook the refusal names sheet and row.
func TestTakeWhole_NamesSheetAndRow(t *testing.T) {
	a, b := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
	fill(t, a)
	raw(t, a, "UPDATE placements SET from_on = '2026-05-31' WHERE from_on = '2026-06-01'")
	_, err := take(t, b, whole(t, a, exchange.XLSX))
	if err == nil || !strings.Contains(err.Error(), "Sheet placements, row 5, ") || !strings.Contains(err.Error(), "held assembly H-B") {
		t.Errorf("got %v", err)
	}
}

func TestTakeWhole_OnlyIntoAnEmptyRegister(t *testing.T) {
	full := open(t, address(t, store.SQLite))
	fill(t, full)
	file := whole(t, full, exchange.JSON)
	for _, c := range []struct {
		why string
		cmd register.Command
	}{
		{"a site", register.AddSite{Name: "Depot", Zone: "UTC"}},
		{"a policy", register.AddPolicy{Policy: register.Policy{Policy: withName("mine")}}},
		{"a kind", register.AddKind{Name: "rocket"}},
		{"a duty", register.SetDuty{Kind: "excavator", Service: register.Service{FluidC: f64(50)}, Note: "measured"}},
	} {
		s := open(t, address(t, store.SQLite))
		apply(t, s, c.cmd)
		before := tables(t, s)
		if _, err := take(t, s, file); err == nil || !strings.Contains(err.Error(), "into an empty one only") {
			t.Errorf("%s: %v", c.why, err)
		}
		if tables(t, s) != before {
			t.Errorf("%s: the refusal changed something", c.why)
		}
	}
}

func withName(name string) life.Policy {
	p := life.NormalDemand()
	p.Name = name
	return p
}

func TestTryWhole_ChangesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fill(t, a)
		file := whole(t, a, exchange.XLSX)
		b := open(t, address(t, a.Engine()))
		before := tables(t, b)
		src, err := exchange.OpenWhole(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		r, err := b.TryWhole(context.Background(), now, me, src)
		if err != nil || r.Taken || r.Rows[register.PartAssemblies] != 5 {
			t.Errorf("%+v, %v", r, err)
		}
		if tables(t, b) != before {
			t.Error("a trial left something behind")
		}
	})
}

// A file that closes a stop by a removal there was not hides nothing: the hose
// still sits there.
func TestTakeWhole_NoFileHidesAStop(t *testing.T) {
	a, b := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
	fill(t, a)
	apply(t, a, register.Inspect{Machine: "RT-01", Position: "return", On: day("2026-06-02"), Findings: []register.NewFinding{{Number: 1, Class: life.Stop}}})
	raw(t, a, "UPDATE findings SET closed_on = '2026-06-02', closed_how = 'removed' WHERE seen_on = '2026-06-02'")
	mustTake(t, b, whole(t, a, exchange.JSON))
	page, err := b.Lines(context.Background(), now, register.LineFilter{Status: life.StatusStop})
	if err != nil || len(page.Lines) != 1 || page.Lines[0].AssemblyCode != "H-C" {
		t.Errorf("the stop is hidden: %v %v", page.Lines, err)
	}
}
