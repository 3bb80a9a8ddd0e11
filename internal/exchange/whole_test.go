package exchange_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// written is rows as a whole register.
func written(t testing.TB, format exchange.Format, rows ...register.WholeRow) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := exchange.NewWholeWriter(&b, format, aHead)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// readWhole reads a whole register to its end.
func readWhole(file []byte) (rows []register.WholeRow, places []string, err error) {
	r, err := exchange.OpenWhole(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return nil, nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	for {
		row, number, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows, places, nil
		}
		if err != nil {
			return rows, places, err
		}
		rows, places = append(rows, row), append(places, r.Place(row.Part(), number))
	}
}

var formats = []exchange.Format{exchange.JSON, exchange.XLSX}

// awkward are texts that sheets and documents are known to spoil.
func awkward() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.SampledFrom([]string{
			"", "=1+1", "+A1", "-2", "@SUM(A1)", "'=x", "''", "'", "1E5", "00123", "1/2", "2024-01-01", "TRUE", "null", "#N/A", "-",
			" space around ", "line\nfeed", "return\r\nfeed", "\rreturn", "tab\there", "_x0041_", "_x005F_", "_x005F_x0041_", "_x_x0041__", "_xD800_",
			"<b>&amp;\"'</b>", "]]>", "\u00a0", "\ufffe", "\uffff", "\u2028", "😀", "Ä", "{\"a\":1}", strings.Repeat("lång ", 7000), strings.Repeat("😀", 20000),
		}),
		rapid.String(),
		rapid.StringMatching(`(_x[0-9A-Fx_]{1,8}_?){1,3}`),
	)
}

// drawn fills a value with whatever its type can hold.
func drawn(t *rapid.T, v reflect.Value) {
	switch to := v.Addr().Interface().(type) {
	case *quantity.Date:
		*to = date(t)
		return
	case *quantity.Period:
		d := quantity.DateOfDayNumber(rapid.IntRange(712_000, 780_000).Draw(t, "day"))
		y, m, _ := d.YMD()
		month, _ := quantity.Month(y, m)
		quarter, _ := quantity.Quarter(y, (m+2)/3)
		year, _ := quantity.CalendarYear(y)
		*to = rapid.SampledFrom([]quantity.Period{{}, quantity.Day(d), month, quarter, year}).Draw(t, "period")
		return
	case *register.Cycles:
		for range rapid.IntRange(0, 3).Draw(t, "cycles") * rapid.SampledFrom([]int{1, 300}).Draw(t, "times") {
			*to = append(*to, life.Cycle{
				MinBar: rapid.Float64().Draw(t, "min"), MaxBar: rapid.Float64().Draw(t, "max"), Count: 1.5,
				Per: rapid.SampledFrom([]string{"", "lift", "=km"}).Draw(t, "per"), PerHour: &[]float64{0.1}[0],
			})
		}
		return
	case *register.Temperatures:
		for range rapid.IntRange(0, 3).Draw(t, "temperatures") {
			*to = append(*to, life.TemperatureShare{C: rapid.Float64().Draw(t, "c"), Share: 0.25})
		}
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if rapid.Bool().Draw(t, "there") {
			v.Set(reflect.New(v.Type().Elem()))
			drawn(t, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			drawn(t, v.Field(i))
		}
	case reflect.String:
		v.SetString(awkward().Draw(t, "text"))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "bool"))
	case reflect.Int:
		v.SetInt(int64(rapid.IntRange(-1000, 1_000_000).Draw(t, "int")))
	case reflect.Float64:
		v.SetFloat(rapid.Float64().Draw(t, "float"))
	default:
		t.Fatalf("no values for %s", v.Type())
	}
}

func date(t *rapid.T) quantity.Date {
	if rapid.Bool().Draw(t, "no date") {
		return quantity.Date{}
	}
	return quantity.DateOfDayNumber(rapid.IntRange(1, 3_650_000).Draw(t, "date"))
}

// Whatever a row holds, both forms give it back as it was, also what no check
// would let into a register.
func TestWhole_WhatIsWrittenIsReadBack(t *testing.T) {
	for _, format := range formats {
		t.Run(string(format), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				var rows []register.WholeRow
				for _, part := range register.WholeParts() {
					for range rapid.IntRange(0, 2).Draw(t, string(part)) {
						row := register.NewWholeRow(part)
						drawn(t, reflect.ValueOf(row).Elem())
						rows = append(rows, row)
					}
				}
				var b bytes.Buffer
				w, _ := exchange.NewWholeWriter(&b, format, aHead)
				for _, r := range rows {
					if err := w.Write(r); err != nil {
						t.Fatal(err)
					}
				}
				if err := w.Close(); err != nil {
					t.Fatal(err)
				}
				got, _, err := readWhole(b.Bytes())
				if err != nil {
					t.Fatal(err)
				}
				want := dropBlank(format, rows)
				if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b quantity.Period) bool { return a == b }), cmp.Comparer(func(a, b quantity.Date) bool { return a == b })); diff != "" {
					t.Fatalf("(-written +read):\n%s", diff)
				}
			})
		})
	}
}

// dropBlank leaves out rows of which a workbook shows nothing: a blank row is
// no row. No part has a row without a name.
func dropBlank(format exchange.Format, rows []register.WholeRow) []register.WholeRow {
	var out []register.WholeRow
	for _, r := range rows {
		blank := map[register.WholePart]register.WholeRow{
			register.PartSites: &register.WholeSite{}, register.PartKinds: &register.WholeKind{}, register.PartCircuits: &register.WholeCircuit{},
			register.PartFormerCodes: &register.WholeFormerCode{}, register.PartDuties: &register.WholeDuty{}, register.PartLayUps: &register.WholeLayUp{},
			register.PartConditions: &register.WholeConditions{}, register.PartPlacements: &register.WholePlacement{},
		}[r.Part()]
		if format == exchange.XLSX && blank != nil && reflect.DeepEqual(blank, r) {
			continue
		}
		out = append(out, r)
	}
	return out
}

func TestWhole_PlacesAreWhereAPersonFindsThem(t *testing.T) {
	rows := []register.WholeRow{
		&register.WholeSite{Name: "Depot"}, &register.WholeSite{Name: "Yard"},
		&register.WholeDuty{Kind: "a", Note: strings.Repeat("long ", 20000)}, &register.WholeDuty{Kind: "b"},
	}
	for format, want := range map[exchange.Format][]string{
		exchange.JSON: {"sites[0]", "sites[1]", "duties[0]", "duties[1]"},
		exchange.XLSX: {"Sheet sites, row 2", "Sheet sites, row 3", "Sheet duties, row 2", "Sheet duties, row 9"},
	} {
		_, places, err := readWhole(written(t, format, rows...))
		if diff := cmp.Diff(want, places); diff != "" || err != nil {
			t.Errorf("%s: %v\n%s", format, err, diff)
		}
	}
}

// refusedWith wants a refusal in one sentence that says so.
func refusedWith(t *testing.T, why string, err error, says string) {
	t.Helper()
	var r *register.Error
	if !errors.As(err, &r) || !strings.Contains(r.Sentence, says) || !strings.HasSuffix(r.Sentence, ".") {
		t.Errorf("%s: got %v, want a sentence with %q", why, err, says)
	}
}

func TestWhole_ADocumentThatIsNotOneIsRefusedInASentence(t *testing.T) {
	good := string(written(t, exchange.JSON, &register.WholeSite{Name: "Depot", Zone: "UTC", Policy: "normal demand"}, &register.WholeMachine{Code: "RT-1"}))
	for _, c := range []struct{ why, old, new, says string }{
		{"another document", `"hoseward_register": 1`, `"sites_of": 1`, "a key \"sites_of\""},
		{"no version", `"hoseward_register": 1,`, ``, "not a whole register"},
		{"a newer form", `"hoseward_register": 1`, `"hoseward_register": 2`, "newer hoseward"},
		{"a form there never was", `"hoseward_register": 1`, `"hoseward_register": 0.5`, "no version 0.5"},
		{"a version in words", `"hoseward_register": 1`, `"hoseward_register": "1"`, "must be the version"},
		{"the version twice", `"hoseward_register": 1`, `"hoseward_register": 1, "hoseward_register": 1`, "twice"},
		{"an unknown part", `"sites"`, `"places"`, `a key "places"`},
		{"a part twice", `"kinds": []`, `"kinds": [], "kinds": []`, "twice"},
		{"a part is missing", `"kinds": [],`, ``, `has no "kinds"`},
		{"a part is no list", `"kinds": []`, `"kinds": {}`, "kinds must be a list"},
		{"an unknown key", `"zone":`, `"id": 7, "zone":`, `sites[0]: There is no key "id"`},
		{"a key in capitals", `"zone":`, `"Zone":`, `no key "Zone"`},
		{"a key twice", `"zone":`, `"zone": "a", "zone":`, "sites[0].zone: This key stands twice"},
		{"a key is missing", `"zone":"UTC",`, ``, `sites[0]: The key "zone" is missing`},
		{"a number for a text", `"UTC"`, `5`, "sites[0].zone: 5 is not a text"},
		{"null for a text", `"UTC"`, `null`, "sites[0].zone: null is not a text"},
		{"a text for yes or no", `"can_hurt":false`, `"can_hurt":"no"`, `machines[0].can_hurt: "no" is not true or false`},
		{"no date", `"gone_on":null`, `"gone_on":"2026-02-30"`, "is not a date"},
		{"no number", `"planned_hours_per_week":null`, `"planned_hours_per_week":1e999`, "is not a number"},
		{"a row that is none", `[` + "\n" + `{"name":"Depot"`, `[7,` + "\n" + `{"name":"Depot"`, "sites[0]: A row must be an object"},
		{"a document that goes on", "]}\n", "]} {}", "behind the end"},
		{"a document that breaks off", "]}\n", "]", "breaks off"},
		{"broken JSON", `"kinds": []`, `"kinds": [}`, "not JSON from byte"},
		{"a row without end", `"UTC"`, `"` + strings.Repeat("x", 5<<20) + `"`, "longer than 4 MB"},
		{"blanks without end", `"kinds": [`, `"kinds": [` + strings.Repeat(" ", 9<<20), "longer than 4 MB"},
		{"brackets without end", `"kinds": [`, `"kinds": [` + strings.Repeat("[", 100000), "not JSON from byte"},
	} {
		bad := strings.Replace(good, c.old, c.new, 1)
		if bad == good {
			t.Fatalf("%s: nothing was replaced", c.why)
		}
		_, _, err := readWhole([]byte(bad))
		refusedWith(t, c.why, err, c.says)
	}
	for _, c := range []struct{ why, file, says string }{
		{"nothing", "", "breaks off"},
		{"a list", "[]", "not a whole register"},
		{"a sheet", "Machine;Position\n", "not JSON"},
	} {
		_, _, err := readWhole([]byte(c.file))
		refusedWith(t, c.why, err, c.says)
	}
}

// Programs sort keys; the parts may stand in any order.
func TestWhole_PartsMayStandInAnyOrder(t *testing.T) {
	rows := []register.WholeRow{&register.WholeSite{Name: "Depot"}, &register.WholeKind{Name: "truck"}}
	good := string(written(t, exchange.JSON, rows...))
	lines := strings.SplitAfter(good, "\n")
	var sites []string
	var rest string
	for i := 0; i < len(lines); i++ {
		if strings.HasPrefix(lines[i], `"sites"`) {
			sites = lines[i : i+2]
			i++
			continue
		}
		rest += lines[i]
	}
	moved := strings.Replace(strings.TrimSuffix(rest, "}\n"), `{"hoseward_register": 1,`, "\xef\xbb\xbf {", 1) + ",\n" +
		strings.TrimSuffix(strings.TrimSpace(strings.Join(sites, "")), ",") + `, "hoseward_register": 1}`
	got, _, err := readWhole([]byte(moved))
	if diff := cmp.Diff(rows, got); diff != "" || err != nil {
		t.Errorf("%v\n%s\n%s", err, diff, moved)
	}
}

func TestIsWhole(t *testing.T) {
	for _, c := range []struct {
		why  string
		file []byte
		want bool
	}{
		{"a document", written(t, exchange.JSON), true},
		{"a workbook of the whole register", written(t, exchange.XLSX), true},
		{"a document of something else means to be one, and is told what it lacks", []byte("\xef\xbb\xbf \n{}"), true},
		{"a CSV sheet", []byte("Machine;Position\n"), false},
		{"a workbook with a list", list(t, exchange.XLSX, []string{"a"}), false},
		{"nothing", nil, false},
		{"a broken package", []byte("PK\x03\x04 and no more"), false},
	} {
		if got := exchange.IsWhole(bytes.NewReader(c.file), int64(len(c.file))); got != c.want {
			t.Errorf("%s: %v", c.why, got)
		}
	}
}

// FuzzWholeJSON wants that whatever a document holds, reading it ends, never
// panics, and says what is wrong in a sentence; what is read can be written and
// read again.
func FuzzWholeJSON(f *testing.F) {
	f.Add(written(f, exchange.JSON))
	f.Add(written(f, exchange.JSON, &register.WholeSite{Name: "Depot", Zone: "UTC"}, &register.WholeDuty{Kind: "x", WholeService: register.WholeService{Cycles: register.Cycles{{MinBar: 1, MaxBar: 2, Count: 3}}}}))
	f.Add([]byte(`{"hoseward_register":1,"kinds":[{"name":"a"}]}`))
	f.Fuzz(func(t *testing.T, file []byte) {
		rows, _, err := readWhole(file)
		if err != nil {
			var r *register.Error
			if !errors.As(err, &r) {
				t.Fatalf("not a sentence: %v", err)
			}
			return
		}
		again, _, err := readWhole(written(t, exchange.JSON, rows...))
		if diff := cmp.Diff(fmt.Sprintf("%+v", rows), fmt.Sprintf("%+v", again)); err != nil || len(rows) != len(again) && diff != "" {
			t.Fatalf("%v\n%s", err, diff)
		}
	})
}
