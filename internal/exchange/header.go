package exchange

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strconv"
	"strings"
	"sync"

	"hoseward/internal/register"
)

// Found says how a column came by its meaning.
type Found string

// The ways.
const (
	Recognised Found = "recognised" // by its header
	Chosen     Found = "chosen"     // by whoever looked at the report, now or before
	Ignored    Found = "ignored"    // chosen to be left out
	Unknown    Found = "unknown"    // nothing is known of it; not read
	Duplicate  Found = "duplicate"  // means what an earlier column means; not read
)

// Column is one column of a sheet.
type Column struct {
	Header string // as it stands; made unique, and "column F" where it is empty
	Field  string // name of the field it is read as; empty if it is not read
	Unit   string // unit in the header, or in the row below; empty if none
	Found  Found
	// Means is, for a duplicate, the field that an earlier column has.
	Means string

	index int
	field Field
	below bool // the unit stands in a row below the headers
	doubt bool // it can mean two things and nobody chose one
	// thousands: a sign before three digits stands between thousands here.
	thousands bool
}

// unitNames are the units a header can carry, as headers write them.
var unitNames = map[string]struct {
	unit string
	of   Measure
}{
	"bar": {"bar", Pressures}, "mpa": {"MPa", Pressures}, "psi": {"psi", Pressures}, "kpa": {"kPa", Pressures}, "barg": {"bar", Pressures}, "psig": {"psi", Pressures},
	"mm": {"mm", Lengths}, "cm": {"cm", Lengths}, "m": {"m", Lengths}, "in": {"in", Lengths}, "inch": {"in", Lengths}, "inches": {"in", Lengths}, "zoll": {"in", Lengths}, "\"": {"in", Lengths}, "meter": {"m", Lengths},
	"°c": {"°C", Temperatures}, "c": {"°C", Temperatures}, "celsius": {"°C", Temperatures}, "grad c": {"°C", Temperatures}, "deg c": {"°C", Temperatures}, "degc": {"°C", Temperatures}, "°f": {"°F", Temperatures}, "f": {"°F", Temperatures}, "degf": {"°F", Temperatures}, "deg f": {"°F", Temperatures},
	"h": {"h", HoursMeasure}, "hrs": {"h", HoursMeasure}, "hours": {"h", HoursMeasure}, "std": {"h", HoursMeasure}, "stunden": {"h", HoursMeasure}, "bh": {"h", HoursMeasure},
}

var foldUmlauts = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "\u00a0", " ", "\n", " ", "\r", " ", "\t", " ")

// plainWords lowers a header and leaves only letters, digits and spaces.
func plainWords(s string) string {
	var b strings.Builder
	for _, r := range foldUmlauts.Replace(strings.ToLower(s)) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r > 127 && r != '°' {
			b.WriteRune(r)
		} else {
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// headerKey is what headers are compared by: letters and digits only.
func headerKey(s string) string { return strings.ReplaceAll(plainWords(s), " ", "") }

// fieldsByWord finds fields by the key of one of their words.
type fieldsByWord map[register.ImportKind]map[string]Field

var wordIndex = sync.OnceValue(func() fieldsByWord {
	index := fieldsByWord{}
	for _, kind := range Kinds() {
		byWord := map[string]Field{}
		for _, f := range Fields(kind) {
			title, _ := splitHeader(f.Title)
			for _, w := range append([]string{title, f.Name}, f.Words...) {
				if _, taken := byWord[headerKey(w)]; !taken {
					byWord[headerKey(w)] = f
				}
			}
		}
		index[kind] = byWord
	}
	return index
})

// splitHeader takes a unit in brackets off a header: "WP (psi)", "Druck [bar]".
func splitHeader(header string) (base, unit string) {
	base = header
	for _, pair := range [...]string{"()", "[]", "{}"} {
		open := strings.LastIndexByte(base, pair[0])
		end := strings.LastIndexByte(base, pair[1])
		if open < 0 || end < open {
			continue
		}
		inside := strings.ToLower(strings.TrimSpace(base[open+1 : end]))
		if u, ok := unitNames[inside]; ok {
			unit = u.unit
		} else if u, ok := unitNames[strings.TrimPrefix(inside, "in ")]; ok {
			unit = u.unit
		}
		base = base[:open] + " " + base[end+1:]
	}
	return strings.TrimSpace(base), unit
}

// matchHeader finds the field a header means in sheets of that kind, and the
// unit the header carries, if it is one of the field's measure.
func matchHeader(kind register.ImportKind, header string) (f Field, unit string, ok bool) {
	byWord := wordIndex()[kind]
	base, unit := splitHeader(header)
	if f, ok = byWord[headerKey(base)]; ok {
		if unit == "" && headerKey(base) == headerKey(f.Name) { // rated_bar says its unit
			unit = unitNames[f.Name[strings.LastIndexByte(f.Name, '_')+1:]].unit
		}
		return f, unitFor(f.Measure, base, unit), true
	}
	if f, ok = byWord[headerKey(header)]; ok {
		return f, unitFor(f.Measure, header, unit), true
	}
	// A unit behind the words: "Length mm", "Druck in bar", "Temp. °C".
	rest := strings.TrimRight(strings.ToLower(strings.TrimSpace(base)), ".:")
	i := strings.LastIndexAny(rest, " /,_\u00a0\n")
	if i < 0 {
		return Field{}, "", false
	}
	u, isUnit := unitNames[strings.TrimSpace(rest[i+1:])]
	if !isUnit {
		return Field{}, "", false
	}
	f, ok = byWord[headerKey(strings.TrimSuffix(strings.TrimRight(rest[:i], " /,_"), " in"))]
	if !ok || f.Measure != u.of {
		return Field{}, "", false
	}
	return f, u.unit, true
}

// unitFor keeps a unit only where it measures what the field measures; a
// header that is nothing but a unit, such as "PSI", carries itself.
func unitFor(m Measure, base, unit string) string {
	if unit == "" {
		unit = unitNames[strings.ToLower(strings.TrimSpace(base))].unit
	}
	for _, u := range unitNames {
		if u.unit == unit && u.of == m {
			return unit
		}
	}
	return ""
}

// recognised counts the different fields that cells of a row are headers of.
func recognised(kind register.ImportKind, row []string) (n int, has map[string]bool) {
	has = map[string]bool{}
	for _, c := range row {
		if len(c) > maxHeaderText || strings.TrimSpace(c) == "" {
			continue
		}
		if f, _, ok := matchHeader(kind, c); ok {
			has[f.Name] = true
		}
	}
	return len(has), has
}

const maxHeaderText = 120

// essentials says which columns a sheet of that kind cannot do without, as
// alternatives.
func essentials(kind register.ImportKind) [][]string {
	switch kind {
	case register.ImportMachines:
		return [][]string{{"machine"}}
	case register.ImportHoses:
		return [][]string{{"machine", "position"}, {"assembly"}}
	}
	return [][]string{{"machine", "on", "hours"}}
}

func hasEssentials(kind register.ImportKind, has map[string]bool) bool {
	for _, names := range essentials(kind) {
		if !slices.ContainsFunc(names, func(n string) bool { return !has[n] }) {
			return true
		}
	}
	return false
}

// scoreHeader says how much a row looks like the headers of a sheet: the best
// kind, and the number of fields recognised. A given kind is the only one
// looked at; of equals the one whose essential columns are there wins.
func scoreHeader(given register.ImportKind, row []string) (kind register.ImportKind, score int) {
	best := -1
	for _, k := range []register.ImportKind{register.ImportHoses, register.ImportReadings, register.ImportMachines} {
		if given != "" && k != given {
			continue
		}
		n, has := recognised(k, row)
		rank := 2 * n
		if n > 0 && hasEssentials(k, has) {
			rank++
		}
		if rank > best {
			best, kind, score = rank, k, n
		}
	}
	return kind, score
}

// searchRows is how far down the row of headers is looked for.
const searchRows = 30

// findHeader finds the row of headers among the first rows: the one with most
// recognised words, the first of equals. ok is false if no row has two, or all
// of its only cell.
func findHeader(given register.ImportKind, rows [][]string) (at int, kind register.ImportKind, score int, ok bool) {
	at = -1
	for i, row := range rows[:min(len(rows), searchRows)] {
		k, n := scoreHeader(given, row)
		if n > score && (n >= 2 || filled(row) == n) {
			at, kind, score = i, k, n
		}
	}
	return at, kind, score, at >= 0
}

func filled(row []string) int {
	n := 0
	for _, c := range row {
		if strings.TrimSpace(c) != "" {
			n++
		}
	}
	return n
}

// unitRow reports whether a row holds nothing but units, each below a header
// that measures in such units, as some people write below their headers; it
// gives the units to the columns.
func unitRow(cols []Column, row []string) bool {
	units := make([]string, len(cols))
	found := false
	for i, c := range row {
		c = strings.ToLower(strings.Trim(strings.TrimSpace(c), "()[]"))
		if c == "" || c == "-" {
			continue
		}
		u, known := unitNames[c]
		if !known || i >= len(cols) || cols[i].Field != "" && u.of != cols[i].field.Measure {
			return false
		}
		units[i], found = u.unit, true
	}
	for i := range cols {
		if found && cols[i].Unit == "" && units[i] != "" {
			cols[i].Unit, cols[i].below = units[i], true
		}
	}
	return found
}

// uniqueHeaders trims headers, numbers those that stand twice, and names
// empty ones by their letter.
func uniqueHeaders(row []string) []string {
	names := make([]string, len(row))
	seen := map[string]int{}
	for i, c := range row {
		name := strings.Join(strings.Fields(c), " ")
		if name == "" {
			name = "column " + columnLetter(i)
		}
		seen[name]++
		if n := seen[name]; n > 1 {
			name += " (" + strconv.Itoa(n) + ")"
		}
		names[i] = name
	}
	return names
}

// columnLetter names a column as spreadsheets do, 0 being A.
func columnLetter(i int) string {
	s := ""
	for i++; i > 0; i = (i - 1) / 26 {
		s = string(rune('A'+(i-1)%26)) + s
	}
	return s
}

// HeaderHash identifies a set of headers, in any order and spelled in any
// case: what a person said its columns mean is kept under it.
func HeaderHash(headers []string) string {
	var keys []string
	for _, h := range headers {
		if k := headerKey(h); k != headerKey(reasonsHeader) {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	sum := sha256.Sum256([]byte(strings.Join(keys, "\n")))
	return hex.EncodeToString(sum[:])
}

// reasonsHeader heads the column of reasons in a sheet of rows handed back; it
// is left out when such a sheet comes in again.
const reasonsHeader = "Why it was not taken"

// giveMeanings makes the columns of a sheet from its headers: what was chosen
// counts before what is recognised, and no two columns are read as the same
// field.
func giveMeanings(kind register.ImportKind, headers []string, chosen map[string]string) []Column {
	byKey := map[string]string{}
	for h, name := range chosen {
		byKey[headerKey(h)] = name
	}
	cols := make([]Column, len(headers))
	taken := map[string]bool{}
	take := func(c *Column, f Field, found Found) {
		if taken[f.Name] {
			c.Found, c.Means = Duplicate, f.Name
			return
		}
		taken[f.Name] = true
		c.Field, c.field, c.Found = f.Name, f, found
	}
	for i, h := range headers { // what was chosen goes first
		cols[i] = Column{Header: h, index: i, Found: Unknown}
		name, ok := byKey[headerKey(h)]
		if !ok {
			continue
		}
		name, unit, _ := strings.Cut(name, "@")
		if f, known := FieldNamed(kind, name); known {
			_, cols[i].Unit, _ = matchHeader(kind, h)
			if unit != "" {
				cols[i].Unit = unit
			} else if _, u := splitHeader(h); u != "" {
				cols[i].Unit = unitFor(f.Measure, "", u)
			}
			take(&cols[i], f, Chosen)
		} else if name == "" {
			cols[i].Found = Ignored
		}
	}
	place := -1
	for i, h := range headers {
		if cols[i].Found != Unknown {
			continue
		}
		if headerKey(h) == headerKey(reasonsHeader) {
			cols[i].Found = Ignored
			continue
		}
		if kind == register.ImportHoses && headerKey(h) == "location" {
			place = i
		} else if f, unit, ok := matchHeader(kind, h); ok {
			cols[i].Unit = unit
			take(&cols[i], f, Recognised)
		} else if runningNumber(h) {
			cols[i].Found = Ignored
		}
	}
	if place >= 0 { // of a hose it is the place on the machine, where no other column is
		f, _ := FieldNamed(kind, "position")
		if taken[f.Name] {
			f, _ = FieldNamed(kind, "site")
		}
		take(&cols[place], f, Recognised)
	}
	return cols
}

// runningNumber tells a column that only counts the rows.
func runningNumber(h string) bool {
	switch headerKey(h) {
	case "lfdnr", "lfdno", "laufendenummer", "rowno", "row", "zeile", "itemno":
		return true
	}
	return false
}
