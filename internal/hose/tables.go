package hose

import (
	"embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"hoseward/internal/quantity"
)

//go:embed tables/*.csv
var files embed.FS

// Confidence says how far a published row can be trusted.
type Confidence string

// The confidences. Rows that are doubtful are not kept.
const (
	TwoTables  Confidence = "A" // two independent public tables and memory agree
	OneTable   Confidence = "B" // one public table and memory, or two with a small difference
	FromMemory Confidence = "C" // memory only, reasonably sure
)

// Meaning is the confidence in words.
func (c Confidence) Meaning() string {
	switch c {
	case TwoTables:
		return "two public tables and memory agree"
	case OneTable:
		return "one public table and memory agree, or two tables differ a little"
	case FromMemory:
		return "from memory"
	}
	return "not known"
}

// Mark says where an impulse-test point is from.
type Mark string

// The marks of impulse-test points.
const (
	Read       Mark = "read"        // read on a page about the standard
	PartlyRead Mark = "partly read" // a part read, the rest from memory
	Memory     Mark = "memory"      // from memory
)

// Row is one published rating: one designation in one size. Numbers that are
// not known are 0; see Known.
type Row struct {
	Designation  Designation
	Names        []string // every designation this row stands for
	Edition      string   // "old ratings (before 2006)" where a name has had several
	Construction string   // wire braid, wire spiral, textile; empty if unknown
	Tube         string   // usual material of the tube; empty: the sources do not say
	Size         Size

	RatedBar, BurstBar float64 // rated is the maximum working pressure
	RatedPSI, BurstPSI float64 // 0 unless the source gives psi
	BendMM             float64 // smallest bend radius, to the inside of the bend
	MinC, MaxC         float64 // fluid temperature, mineral oil

	ImpulsePercent, ImpulseCycles, ImpulseTempC float64
	ImpulseMark                                 Mark
	ImpulseSource                               string

	Confidence Confidence
	Source     string // one sentence
	Remark     string // disagreements and cautions; may be empty
	// Via says by which step, from memory, another standard's row stands in;
	// empty if the row is the designation's own.
	Via string
}

// Rated is the maximum working pressure.
func (r Row) Rated() quantity.Pressure { return quantity.Pressure(r.RatedBar) }

// Known is a number for a field where nil means unknown: nil for 0.
func Known(v float64) *float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Rows lists every published row, in the order of the tables. The caller may
// change the result. The rows of ISO 18752, one for each class, have no size:
// its ratings hold for all.
func Rows() []Row {
	t := tables()
	all := make([]Row, len(t.rows))
	for i, r := range t.rows {
		r.Names = append([]string(nil), r.Names...)
		all[i] = r
	}
	return all
}

// Designations lists the designations that have published rows, in the order
// of the tables.
func Designations() []Designation {
	return append([]Designation(nil), tables().designations...)
}

// table is everything read from the embedded files.
type table struct {
	rows         []Row
	byName       map[string][]int
	designations []Designation
	ends         []End
}

// tables reads the embedded files once. They are part of the program: a
// mistake in them is a defect of the build and stops it; TestRows_AsPublished
// would fail first.
var tables = sync.OnceValue(func() *table {
	t, err := readTables()
	if err != nil {
		panic(err)
	}
	return t
})

func readTables() (*table, error) {
	t := &table{byName: map[string][]int{}}
	if err := eachRecord("tables/hoses.csv", t.addHose); err != nil {
		return nil, err
	}
	if err := eachRecord("tables/iso18752.csv", t.addGrade); err != nil {
		return nil, err
	}
	return t, eachRecord("tables/ends.csv", t.addEnd)
}

// record is a line of a table by column name. The first mistake sticks.
type record struct {
	cell map[string]string
	err  error
}

func (r *record) text(column string) string {
	v, ok := r.cell[column]
	if !ok && r.err == nil {
		r.err = fmt.Errorf("no column %q", column)
	}
	return v
}

func (r *record) number(column string) float64 {
	t := r.text(column)
	if t == "" {
		return 0
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("column %s: %w", column, err)
	}
	return v
}

// pressure is the value in bar of a figure printed in bar or psi, and the psi.
func (r *record) pressure(name string) (bar, psi float64) {
	bar, psi = r.number(name+"_bar"), r.number(name+"_psi")
	if psi != 0 {
		bar = float64(quantity.PressureOf(psi, quantity.PSI))
	}
	return bar, psi
}

func eachRecord(file string, add func(*record) error) error {
	f, err := files.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	c := csv.NewReader(f)
	c.Comment = '#'
	lines, err := c.ReadAll()
	if err != nil {
		return fmt.Errorf("read %s: %w", file, err)
	}
	for n, line := range lines {
		if n == 0 {
			continue
		}
		r := record{cell: map[string]string{}}
		for i, v := range line {
			r.cell[lines[0][i]] = v
		}
		if err := add(&r); err != nil {
			return fmt.Errorf("read %s, row %d: %w", file, n, err)
		}
	}
	return nil
}

func (t *table) addHose(r *record) error {
	row := limits(r)
	row.Edition, row.Construction = r.text("edition"), r.text("construction")
	row.Size = Size{DN: int(r.number("dn")), Dash: int(r.number("dash"))}
	row.RatedBar, row.RatedPSI = r.pressure("mwp")
	row.BurstBar, row.BurstPSI = r.pressure("burst")
	row.BendMM = r.number("bend_mm")
	return t.add(row, strings.Split(r.text("names"), "; "), r.err)
}

// classes18752 are the pressure classes of ISO 18752 in bar (from memory; the
// 2020 draft speaks of ten, the tenth is not known).
var classes18752 = [...]float64{35, 70, 140, 210, 250, 280, 350, 420, 560}

func (t *table) addGrade(r *record) error {
	for _, typ := range strings.Fields(r.text("types")) {
		for _, class := range classes18752 {
			row := limits(r)
			row.RatedBar, row.BurstBar = class, 4*class
			row.Edition = "class " + strconv.Itoa(int(class))
			if err := t.add(row, []string{"ISO 18752 " + typ}, r.err); err != nil {
				return err
			}
		}
	}
	return r.err
}

// limits reads the columns that every hose table has.
func limits(r *record) Row {
	return Row{
		MinC: r.number("tmin_c"), MaxC: r.number("tmax_c"),
		ImpulsePercent: r.number("impulse_percent"), ImpulseCycles: r.number("impulse_cycles"), ImpulseTempC: r.number("impulse_temp_c"),
		ImpulseMark: Mark(r.text("impulse_mark")), ImpulseSource: r.text("impulse_source"),
		Confidence: Confidence(r.text("confidence")), Source: r.text("source"), Remark: r.text("remark"),
	}
}

func (t *table) add(row Row, names []string, err error) error {
	if err != nil {
		return err
	}
	row.Names = names
	for i, name := range names {
		d, err := ParseDesignation(name)
		if err != nil {
			return err
		}
		if i == 0 {
			row.Designation = d
		}
		if len(t.byName[name]) == 0 {
			t.designations = append(t.designations, d)
		}
		t.byName[name] = append(t.byName[name], len(t.rows))
	}
	t.rows = append(t.rows, row)
	return nil
}
