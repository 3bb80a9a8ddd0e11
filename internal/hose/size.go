package hose

import (
	"fmt"
	"strconv"
	"strings"

	"hoseward/internal/quantity"
)

// Size is the nominal bore of a hose: DN as EN and ISO hose standards name
// it, and the dash number, the bore in sixteenths of an inch. The zero Size is
// "unknown". Hoses of 100R5 and 100R14 are sized by tube outside diameter:
// their dash number goes with a smaller DN, see TubeSize.
type Size struct {
	DN   int
	Dash int
}

// sizeName is one size with the names it goes by.
type sizeName struct {
	Size
	inch  string // as printed in the trade
	bore  string // nominal bore with decimals where a standard prints them
	trade []int  // DN as German trade practice names it
}

// sizeNames is the table of synonyms. Dash and EN names: EN and ISO hose
// standards; trade names from a public size card that prints "13 (12)",
// "20 (19)", "32 (31)", "40 (38)", "50 (51)".
var sizeNames = [...]sizeName{
	{Size{5, 3}, "3/16", "5", []int{4}},
	{Size{6, 4}, "1/4", "6.3", nil},
	{Size{8, 5}, "5/16", "8", nil},
	{Size{10, 6}, "3/8", "10", nil},
	{Size{12, 8}, "1/2", "12.5", []int{13}},
	{Size{16, 10}, "5/8", "16", nil},
	{Size{19, 12}, "3/4", "19", []int{20}},
	{Size{25, 16}, "1", "25", nil},
	{Size{31, 20}, "1 1/4", "31.5", []int{32}},
	{Size{38, 24}, "1 1/2", "38", []int{40}},
	{Size{51, 32}, "2", "51", []int{50}},
	{Size{63, 40}, "2 1/2", "63", []int{60}},
	{Size{76, 48}, "3", "76", []int{80}},
}

// Sizes lists every size known, smallest first.
func Sizes() []Size {
	all := make([]Size, len(sizeNames))
	for i, n := range sizeNames {
		all[i] = n.Size
	}
	return all
}

// SizeOfDN is the size that DN names, in EN or in trade use: 12 and 13 are
// the same.
func SizeOfDN(dn int) (Size, bool) {
	for _, n := range sizeNames {
		if n.DN == dn {
			return n.Size, true
		}
	}
	for _, n := range sizeNames {
		for _, t := range n.trade {
			if t == dn {
				return n.Size, true
			}
		}
	}
	return Size{}, false
}

// SizeOfDash is the size with a bore of dash sixteenths of an inch.
func SizeOfDash(dash int) (Size, bool) {
	for _, n := range sizeNames {
		if n.Dash == dash {
			return n.Size, true
		}
	}
	return Size{}, false
}

// TubeSize is the size of a 100R5 or 100R14 hose of that dash number. They
// are sized by the outside diameter of a tube, so the bore is smaller than
// the dash number says. Known for 8, 12 and 16, read in one public table; for
// others the bore is unknown and ok false.
func TubeSize(dash int) (s Size, ok bool) {
	switch dash {
	case 8:
		return Size{DN: 10, Dash: 8}, true
	case 12:
		return Size{DN: 16, Dash: 12}, true
	case 16:
		return Size{DN: 22, Dash: 16}, true
	}
	return Size{}, false
}

// IsZero reports whether the size is unknown.
func (s Size) IsZero() bool { return s == Size{} }

// Complete fills in what is missing and brings trade names to EN names: DN 13,
// or dash 8 alone, is {12, 8}. A pair that is no known size, or contradicts
// itself, is unknown: the zero Size. Tube sizes stay as they are.
func (s Size) Complete() Size {
	byDN, okDN := SizeOfDN(s.DN)
	byDash, okDash := SizeOfDash(s.Dash)
	tube, okTube := TubeSize(s.Dash)
	switch {
	case s.Dash == 0 && okDN:
		return byDN
	case s.DN == 0 && okDash:
		return byDash
	case okDN && okDash && byDN == byDash:
		return byDN
	case okTube && s == tube:
		return tube
	}
	return Size{}
}

// Inch is the nominal bore as the trade writes it, such as 1/2 or 1 1/4;
// empty if the size is not one of the table.
func (s Size) Inch() string {
	if n, ok := s.name(); ok {
		return n.inch
	}
	return ""
}

func (s Size) name() (sizeName, bool) {
	for _, n := range sizeNames {
		if n.Size == s {
			return n, true
		}
	}
	return sizeName{}, false
}

// String prints the size so that ParseSize reads it back: "DN 12, -8";
// nothing if unknown.
func (s Size) String() string {
	switch {
	case s.IsZero():
		return ""
	case s.Dash == 0:
		return "DN " + strconv.Itoa(s.DN)
	case s.DN == 0:
		return "-" + strconv.Itoa(s.Dash)
	}
	return "DN " + strconv.Itoa(s.DN) + ", -" + strconv.Itoa(s.Dash)
}

// SizeReading is one way to read a size, and how it was read.
type SizeReading struct {
	Size Size
	As   string // "DN 8", "dash 8", "1/2 in"
}

// maxSizeText is the longest text ParseSize looks at.
const maxSizeText = 64

// ParseSize reads a size as people write it: DN12, DN 12.5, 12,5, NW 13, -8,
// dash 8, 1/2", 1 1/4 in, 12.7 mm, 16 mm, and several of them together that
// agree: DN12 (1/2"). A bare number can be a DN or a dash number: 8, 16, 12,
// 10, 6, 5, 4 and a few more then give two readings, DN first, and the
// caller has to ask. Names that contradict one another give a reading each.
// What is no size at all is an error.
func ParseSize(text string) ([]SizeReading, error) {
	t := strings.TrimSpace(text)
	if t == "" {
		return nil, fmt.Errorf("empty, expected a size such as DN 12, -8 or 1/2 in")
	}
	if len(t) > maxSizeText {
		return nil, notASize(t)
	}
	l := lex(t)
	r := sizeReader{lexemes: l}
	r.named()
	left := 0
	for i := range l {
		if !l[i].used && l[i].kind != punct && !l[i].is("SIZE", "DASH", "ID", "BORE") {
			left++
		}
	}
	if left == 0 && len(r.found) > 0 {
		return r.found.agreed(), nil
	}
	if left == 1 && len(r.found) == 0 {
		for i := range l {
			if l[i].kind == number && bareSign(l, i) {
				if readings := bareSize(l[i].text); len(readings) > 0 {
					return readings, nil
				}
			}
		}
	}
	return nil, notASize(t)
}

// bareSign reports whether nothing stands around the number but space and
// brackets: +8, 8% and 8.. are no sizes.
func bareSign(l []lexeme, i int) bool {
	for j := range l {
		if j != i && (l[j].kind != punct || !strings.Contains("()", l[j].text)) && !l[j].is("SIZE", "ID", "BORE") {
			return false
		}
	}
	return true
}

// OneSize is ParseSize for callers that cannot ask: two readings are an
// error that names both.
func OneSize(text string) (Size, error) {
	readings, err := ParseSize(text)
	if err != nil {
		return Size{}, err
	}
	if len(readings) > 1 {
		return Size{}, fmt.Errorf("%q can be %s; write DN or a dash before the number", clip(strings.TrimSpace(text)), either(readings))
	}
	return readings[0].Size, nil
}

func either(readings []SizeReading) string {
	words := make([]string, len(readings))
	for i, r := range readings {
		words[i] = r.As + " (" + r.Size.String() + ")"
	}
	return strings.Join(words, " or ")
}

func notASize(t string) error {
	return fmt.Errorf("%q is not a hose size; write DN 12, -8 or 1/2 in", clip(t))
}

// bareSize reads a number that stands alone: as DN, as dash, or as inch where
// it can be nothing else.
func bareSize(t string) []SizeReading {
	var found sizeReadings
	if s, ok := sizeOfBore(t); ok {
		found.add(s, "DN "+t)
	}
	if n, err := strconv.Atoi(t); err == nil && n < 100 {
		if s, ok := SizeOfDash(n); ok {
			found.add(s, "dash "+strconv.Itoa(n))
		}
	}
	if len(found) == 0 {
		if s, ok := sizeOfInch(t); ok {
			found.add(s, t+" in")
		}
	}
	return found
}

// sizeOfBore reads a number of millimetres as a nominal bore: a DN name, a
// nominal bore with decimals, or the inch bore within 0.4 mm.
func sizeOfBore(t string) (Size, bool) {
	t = strings.Replace(t, ",", ".", 1)
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || !(v >= 3 && v <= 100) {
		return Size{}, false
	}
	if v == float64(int(v)) {
		return SizeOfDN(int(v))
	}
	for _, n := range sizeNames {
		if n.bore == t {
			return n.Size, true
		}
	}
	const near = 0.4
	for _, n := range sizeNames {
		bore := float64(n.Dash) * quantity.MMPerInch / 16
		if v > bore-near && v < bore+near {
			return n.Size, true
		}
	}
	return Size{}, false
}

// sizeOfInch reads inches as a decimal number, 0.5 or 1.25, that is a whole
// count of sixteenths of a known size.
func sizeOfInch(t string) (Size, bool) {
	v, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
	if err != nil || !(v > 0 && v <= 3) {
		return Size{}, false
	}
	return sizeOfSixteenths(v * 16)
}

func sizeOfSixteenths(n float64) (Size, bool) {
	// 5/16 is printed 0.31, 0.312 or 0.3125: a hundredth rounds by 0.08 of a sixteenth.
	const near = 0.09
	whole := int(n + 0.5)
	if d := n - float64(whole); d > near || d < -near {
		return Size{}, false
	}
	return SizeOfDash(whole)
}

// sizeReadings collects readings; the same size twice is one.
type sizeReadings []SizeReading

func (r *sizeReadings) add(s Size, as string) {
	for _, have := range *r {
		if have.Size == s {
			return
		}
	}
	if len(*r) < len(sizeNames) {
		*r = append(*r, SizeReading{s, as})
	}
}

// agreed joins a DN and a dash number that belong together on a hose sized by
// tube.
func (r sizeReadings) agreed() []SizeReading {
	if len(r) == 2 {
		for _, pair := range [...][2]SizeReading{{r[0], r[1]}, {r[1], r[0]}} {
			dash, _ := strings.CutPrefix(pair[1].As, "dash ")
			n, err := strconv.Atoi(dash)
			if err != nil {
				continue
			}
			if s, ok := TubeSize(n); ok && s.DN == pair[0].Size.DN && strings.HasPrefix(pair[0].As, "DN") {
				return []SizeReading{{s, s.String() + ", sized by tube"}}
			}
		}
	}
	return r
}
