package hose

import (
	"strconv"
	"strings"
)

// sizeReader finds the sizes in a line that say what they are: DN 12, -8,
// dash 8, 1/2", 12.7 mm.
type sizeReader struct {
	lexemes []lexeme
	found   sizeReadings
	unknown []string // named as a size, but none of the table

	dn, dash, inch bool // which names are printed
}

// named reads every named size and marks its lexemes as used. Millimetres
// come last and only if nothing else names a size or all agree: they may be
// an outside diameter or a length.
func (r *sizeReader) named() {
	for i := range r.lexemes {
		if r.lexemes[i].used {
			continue
		}
		switch l := r.lexemes[i]; {
		case l.is("DN", "NW"):
			r.readDN(i)
		case l.is("DASH"):
			r.readDash(i, r.skip(i+1, "-"))
		case l.is("-") && !l.glued && i+1 < len(r.lexemes) && r.lexemes[i+1].glued && !r.temperature(i+2):
			r.readDash(i, i+1)
		case l.is("/"):
			r.readFraction(i)
		case l.kind == number && r.inchSign(i+1):
			r.readInch(i)
		}
	}
	for i := range r.lexemes {
		if l := r.lexemes[i]; l.kind == number && !l.used && i+1 < len(r.lexemes) && r.lexemes[i+1].is("MM") {
			r.readMM(i)
		}
	}
}

// skip is the place after one of the given signs, if it stands at i.
func (r *sizeReader) skip(i int, signs ...string) int {
	if i < len(r.lexemes) && r.lexemes[i].is(signs...) {
		return i + 1
	}
	return i
}

func (r *sizeReader) use(from, to int) {
	for i := from; i <= to; i++ {
		r.lexemes[i].used = true
	}
}

func (r *sizeReader) isFree(i int) bool {
	return i >= 0 && i < len(r.lexemes) && r.lexemes[i].kind == number && !r.lexemes[i].used
}

func (r *sizeReader) readDN(i int) {
	j := r.skip(i+1, ".", ":", "-", "=")
	if !r.isFree(j) {
		return
	}
	text := r.lexemes[j].text
	s, ok := sizeOfBore(text)
	r.use(i, j)
	if !ok {
		r.unknown = append(r.unknown, "DN "+text)
		return
	}
	r.dn = true
	r.found.add(s, "DN "+text)
	// A second name of the same size: DN 20 (19), DN 12/13.
	if k := r.skip(j+1, "(", "/"); k > j+1 && r.isFree(k) {
		if other, ok := sizeOfBore(r.lexemes[k].text); ok && other == s && !r.followedBySlash(k) {
			r.use(j+1, k)
		}
	}
}

func (r *sizeReader) followedBySlash(i int) bool {
	return i+1 < len(r.lexemes) && r.lexemes[i+1].is("/")
}

func (r *sizeReader) readDash(from, at int) {
	if !r.isFree(at) || r.followedBySlash(at) {
		return
	}
	n, err := strconv.Atoi(r.lexemes[at].text)
	if err != nil {
		return
	}
	if s, ok := SizeOfDash(n); ok {
		r.dash = true
		r.use(from, at)
		r.found.add(s, "dash "+strconv.Itoa(n))
	}
}

// temperature reports whether what begins at i makes the number before it a
// temperature or a pressure: -40 °C, -40/+100, -40 to 100.
func (r *sizeReader) temperature(i int) bool {
	if i >= len(r.lexemes) {
		return false
	}
	l := r.lexemes[i]
	if _, _, unit := unitOf(l); unit {
		// -40 BAR is a pressure; in -3 BAR 250 the unit goes with what follows.
		return !(i+1 < len(r.lexemes) && r.lexemes[i+1].kind == number && (i+2 == len(r.lexemes) || !r.unitAt(i+2)))
	}
	return l.is("°", "º", "C", "F", "DEG", "DEGC", "TO", "BIS", "+", "MM", ":") ||
		l.glued && l.kind == word ||
		l.is("/", ".") && i+1 < len(r.lexemes) && r.lexemes[i+1].is("+", ".")
}

func (r *sizeReader) unitAt(i int) bool {
	_, _, unit := unitOf(r.lexemes[i])
	return unit
}

func (r *sizeReader) inchSign(i int) bool {
	return i < len(r.lexemes) && r.lexemes[i].is(`"`, "IN", "INCH", "INCHES", "ZOLL")
}

// readFraction reads 1/2", 1 1/4", 1-1/4 in. A fraction without an inch sign
// counts where it cannot be a month: with 2, 4 or 8 below, and 3/16 and 5/16
// where the text is nothing else.
func (r *sizeReader) readFraction(i int) {
	if !r.isFree(i-1) || !r.isFree(i+1) || !r.lexemes[i].glued || !r.lexemes[i+1].glued {
		return
	}
	num, err1 := strconv.Atoi(r.lexemes[i-1].text)
	den, err2 := strconv.Atoi(r.lexemes[i+1].text)
	if err1 != nil || err2 != nil || len(r.lexemes[i-1].text) > 2 || num >= den || num%2 == 0 {
		return
	}
	if strings.HasPrefix(r.lexemes[i-1].text, "0") || strings.HasPrefix(r.lexemes[i+1].text, "0") {
		return // 02/04 and 01/08 are dates
	}
	from, to, signed := i-1, i+1, r.inchSign(i+2)
	alone := i == 1 && len(r.lexemes) == 3
	switch den {
	case 2, 4, 8:
	case 16:
		if !signed && !alone {
			return
		}
	default:
		return
	}
	sixteenths, as := float64(num)*16/float64(den), r.lexemes[i-1].text+"/"+r.lexemes[i+1].text
	j := from - 1
	if j > 0 && r.lexemes[j].is("-") && r.lexemes[j].glued && r.lexemes[from].glued {
		j--
	}
	if r.isFree(j) && r.lexemes[j].is("1", "2") && !(j == from-1 && r.lexemes[from].glued) {
		whole, _ := strconv.Atoi(r.lexemes[j].text)
		if _, ok := sizeOfSixteenths(sixteenths + float64(whole*16)); ok {
			sixteenths += float64(whole * 16)
			as = r.lexemes[j].text + " " + as
			from = j
		}
	}
	s, ok := sizeOfSixteenths(sixteenths)
	if !ok {
		return
	}
	if signed {
		to++
	}
	r.inch = true
	r.use(from, to)
	r.found.add(s, as+" in")
}

func (r *sizeReader) readInch(i int) {
	if s, ok := sizeOfInch(r.lexemes[i].text); ok {
		r.inch = true
		r.use(i, i+1)
		r.found.add(s, r.lexemes[i].text+" in")
	}
}

func (r *sizeReader) readMM(i int) {
	if i > 0 && r.lexemes[i-1].is("OD", "AD", "DA", "Ø", "L", "LENGTH", "LG") {
		return
	}
	s, ok := sizeOfBore(r.lexemes[i].text)
	if !ok {
		return
	}
	whole := i == 0 && len(r.lexemes) == 2
	if !whole && len(r.found) > 0 && r.found[0].Size != s && len(r.lexemes) > maxSizeText/8 {
		return
	}
	r.use(i, i+1)
	r.found.add(s, strings.Replace(r.lexemes[i].text, ",", ".", 1)+" mm")
}

// bareAfter is the place of a number that stands by itself behind a type, with
// nothing but separators between; -1 if there is none.
func (r *sizeReader) bareAfter(i int) int {
	for ; i < len(r.lexemes); i++ {
		switch l := r.lexemes[i]; {
		case l.used && l.is("SN", "ST"), l.is("SIZE"):
		case l.kind == punct && strings.Contains("-/|,;:·*.()", l.text):
		case r.isFree(i) && !r.temperature(i+1) && len(bareSize(l.text)) > 0:
			return i
		default:
			return -1
		}
	}
	return -1
}
