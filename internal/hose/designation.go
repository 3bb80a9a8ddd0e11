package hose

import (
	"fmt"
	"strconv"
	"strings"
)

// Designation names a kind of hose: a standard and a type of it.
type Designation struct {
	Standard string // "EN 853", "ISO 18752", "SAE J517"; empty if not known
	Type     string // "2SN", "BC", "100R2AT"
}

const sae = "SAE J517"

// String prints the designation so that ParseDesignation reads it back:
// "EN 853 2SN", "SAE 100R2AT", "ISO 18752 BC".
func (d Designation) String() string {
	if d.Standard == sae {
		return "SAE " + d.Type
	}
	return strings.TrimSpace(d.Standard + " " + d.Type)
}

// ParseDesignation reads a designation in any of the spellings of the trade:
// EN 853 2SN, EN853-2SN, DIN EN 853:2015 2SN, 2SN, SAE 100R2AT, 100 R2AT,
// R2AT, ISO 1436-2 SN/R2ATS, ISO 18752-2 BC. Of several the first counts. A
// type without its standard is given the one that defines it: EN for 2SN and
// its like, SAE J517 for the R types.
func ParseDesignation(text string) (Designation, error) {
	if len(text) > maxText {
		text = text[:maxText]
	}
	r := typeReader{lexemes: lex(text)}
	r.read()
	if len(r.types) == 0 {
		return Designation{}, fmt.Errorf("%q is not a hose designation known here; write it as EN 853 2SN, SAE 100R2AT or ISO 18752 BC", clip(strings.TrimSpace(text)))
	}
	return r.types[0].Designation, nil
}

// typesOf lists the types that a standard defines: EN from the scopes of the
// standards; ISO from memory (which family a standard covers, facts as
// restated in the tables).
func typesOf(standard string) []string {
	switch standard {
	case "EN 853":
		return []string{"1SN", "1ST", "2SN", "2ST"}
	case "EN 854":
		return []string{"1TE", "2TE", "3TE"}
	case "EN 856":
		return []string{"4SP", "4SH", "R12", "R13"}
	case "EN 857":
		return []string{"1SC", "2SC"}
	case "ISO 1436":
		return []string{"1SN", "1ST", "2SN", "2ST", "R1", "R2", "R1A", "R2A", "R1AT", "R2AT", "R1ATS", "R2ATS", "R1S", "R2S"}
	case "ISO 3862":
		return []string{"4SP", "4SH", "R12", "R13", "R15"}
	case "ISO 4079":
		return []string{"1TE", "2TE", "3TE", "R3", "R6"}
	case "ISO 11237":
		return []string{"1SC", "2SC", "R16", "R16S", "R17", "R19"}
	case "ISO 18752":
		return []string{"AS", "AC", "BS", "BC", "CS", "CC", "DC"}
	}
	return nil
}

func defines(standard, typ string) bool {
	for _, t := range typesOf(standard) {
		if t == typ {
			return true
		}
	}
	return false
}

// definer is the standard that first defined a type.
func definer(typ string) string {
	for _, s := range [...]string{"EN 853", "EN 854", "EN 856", "EN 857"} {
		if typ[0] != 'R' && defines(s, typ) {
			return s
		}
	}
	return sae
}

// foundType is a designation in a line and where its last lexeme stands.
type foundType struct {
	Designation
	at int
}

// typeReader finds standards and types in a line.
type typeReader struct {
	lexemes   []lexeme
	standards []string // as printed, with their part: "ISO 1436-2"
	types     []foundType
	dashes    []foundDash
	notes     []string

	current string // the standard read last, without its part
	typed   bool   // current has had its type
}

// foundDash is a dash number printed with an SAE type: 100R2AT-8.
type foundDash struct {
	dash int
	tube bool
}

func (r *typeReader) read() {
	for i := 0; i < len(r.lexemes); {
		if end := r.standard(i); end > i {
			i = end
			continue
		}
		if end := r.wireType(i); end > i {
			i = end
			continue
		}
		if end := r.saeType(i); end > i {
			i = end
			continue
		}
		r.isoType(i)
		i++
	}
}

func (r *typeReader) at(i int) lexeme {
	if i < 0 || i >= len(r.lexemes) {
		return lexeme{kind: punct}
	}
	return r.lexemes[i]
}

func (r *typeReader) use(from, end int) int {
	for i := from; i < end; i++ {
		r.lexemes[i].used = true
	}
	return end
}

// standard reads the name of a standard that begins at i and returns the
// place behind it, or i.
func (r *typeReader) standard(i int) int {
	l := r.at(i)
	if l.kind != word {
		return i
	}
	switch l.text {
	case "SAE":
		r.open(sae, sae)
		end := i + 1
		if r.at(end).is("J") && r.at(end+1).is("517") {
			end += 2
		}
		return r.use(i, end)
	case "J":
		if r.at(i+1).is("517") && r.at(i+1).glued {
			r.open(sae, sae)
			return r.use(i, i+2)
		}
	case "DIN", "BS":
		if r.at(i + 1).is("EN") {
			return r.use(i, i+1)
		}
	case "EN", "ISO":
		if l.text == "EN" && r.at(i+1).is("ISO") {
			return r.use(i, i+1)
		}
		return r.numbered(i)
	}
	return i
}

func (r *typeReader) open(standard, printed string) {
	if r.current != standard || r.typed {
		r.current, r.typed = standard, false
	}
	for _, s := range r.standards {
		if s == printed {
			return
		}
	}
	r.standards = append(r.standards, printed)
}

// numbered reads EN 853:2015, ISO 1436-2 and the like.
func (r *typeReader) numbered(i int) int {
	j := i + 1
	if r.at(j).is("-", ":", ".", "/") {
		j++
	}
	name := r.at(i).text + " " + r.at(j).text
	if r.at(j).kind != number || typesOf(name) == nil {
		return i
	}
	printed, end := name, j+1
	if part := r.at(end + 1); strings.HasPrefix(name, "ISO") && r.at(end).is("-") && r.at(end).glued &&
		part.digits(1) && part.glued && !r.letterAt(end+2) {
		printed += "-" + part.text
		end += 2
	}
	if year := r.at(end + 1); r.at(end).is(":", "-") && r.at(end).glued && year.glued && year.digits(4) &&
		year.text >= "1985" && year.text < "2100" {
		end += 2
	}
	r.open(name, printed)
	return r.use(i, end)
}

// letterAt reports whether letters follow without a gap.
func (r *typeReader) letterAt(i int) bool { return r.at(i).kind == word && r.at(i).glued }

// wireType reads 2SN, 4SH, 1TE and the like. With a gap, as in 2 SN, only
// behind a standard: SN alone is also short for serial number.
func (r *typeReader) wireType(i int) int {
	n, w := r.at(i), r.at(i+1)
	if !n.digits(1) || w.kind != word || len(w.text) != 2 || !w.glued && (r.current == "" || r.typed) {
		return i
	}
	typ := n.text + w.text
	if definer(typ) == sae || n.glued && r.at(i-1).kind != punct {
		return i
	}
	r.add(typ, "", i+1)
	return r.use(i, i+2)
}

// saeType reads 100R2AT, 100 R2 AT, R12 and a dash number behind it.
func (r *typeReader) saeType(i int) int {
	full := 0
	if r.at(i).is("100") && r.at(i+1).is("R") {
		full = 1
	}
	j := i + full
	if !r.at(j).is("R") || full == 0 && r.at(j).glued && r.at(j-1).kind != punct {
		return i
	}
	n, err := strconv.Atoi(r.at(j + 1).text)
	if err != nil || n < 1 || n > 19 || len(r.at(j+1).text) > 2 || r.at(j + 1).text[0] == '0' || full == 0 && !r.at(j+1).glued {
		return i
	}
	typ, end := "R"+strconv.Itoa(n), j+2
	switch w := r.at(end); {
	case w.kind == word && suffixOf(n, w.text) && (w.glued || w.is("AT", "ATS")):
		typ += w.text
		end++
	case w.kind == word && w.glued:
		return i // 100R2XY: not ours to shorten
	}
	printed := ""
	if full == 1 {
		printed = sae
	}
	at := end - 1
	if d := r.at(end + 1); r.at(end).is("-") && d.glued && d.kind == number && !r.at(end+2).is("/") && !r.at(end+2).is(`"`) && !r.letterAt(end+2) {
		if dash, err := strconv.Atoi(d.text); err == nil && dash < 100 {
			r.dashes = append(r.dashes, foundDash{dash, n == 5 || n == 14})
			end += 2
		}
	}
	r.add(typ, printed, at)
	return r.use(i, end)
}

// suffixOf reports whether the letters belong to the type 100Rn.
func suffixOf(n int, letters string) bool {
	switch n {
	case 1, 2:
		switch letters {
		case "A", "B", "S", "T", "AT", "ATS":
			return true
		}
	case 16:
		return letters == "S"
	}
	return false
}

// isoType reads the types of ISO 18752 and the SN of "SN/R2ATS".
func (r *typeReader) isoType(i int) {
	l := r.at(i)
	if l.kind != word || r.typed || l.glued && r.at(i-1).kind == number {
		return
	}
	switch {
	case r.current == "ISO 18752" && defines(r.current, l.text):
		r.add(l.text, "", i)
		r.use(i, i+1)
	case r.current == "ISO 1436" && l.is("SN", "ST"):
		r.use(i, i+1)
	}
}

// add joins a type to the standard it stands behind. force names a standard
// that the type itself shows.
func (r *typeReader) add(typ, force string, at int) {
	standard := r.current
	switch {
	case force != "":
		standard = force
	case defines(standard, typ):
	case standard == "" || standard == sae || r.typed:
		standard = definer(typ)
	default:
		r.notes = append(r.notes, fmt.Sprintf("%s has no type %s as far as known here; no published rating is used", standard, typ))
	}
	if standard == r.current {
		r.typed = true
	}
	if standard == sae && typ[0] == 'R' {
		typ = "100" + typ
	}
	d := Designation{standard, typ}
	for _, have := range r.types {
		if have.Designation == d {
			return
		}
	}
	if len(r.types) < 8 {
		r.types = append(r.types, foundType{d, at})
	}
}
