package exchange

import (
	"strconv"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// sizeKind is how a column names sizes.
type sizeKind string

const (
	sizeAny  sizeKind = "any"
	sizeDN   sizeKind = "dn"
	sizeDash sizeKind = "dash"
	sizeInch sizeKind = "inch"
)

// readSize reads a cell that names a size; a second one must agree.
func readSize(kind sizeKind) func(*builder, cell) {
	return func(b *builder, c cell) {
		s, ok := b.size(c, kind)
		if !ok {
			return
		}
		have := &b.row.Hose.Size
		switch {
		case have.IsZero() || *have == s:
			*have = s
		case tubeSized(*have, s) != hose.Size{}:
			*have = tubeSized(*have, s)
		default:
			b.fail(c, "%s is %s, another cell of the row says %s; one of them is wrong", clipText(c.text), s, *have)
		}
	}
}

// tubeSized joins a DN and a dash number that go together on hoses sized by
// tube only (100R5, 100R14).
func tubeSized(a, b hose.Size) hose.Size {
	for _, pair := range [...][2]hose.Size{{a, b}, {b, a}} {
		if s, ok := hose.TubeSize(pair[1].Dash); ok && s.DN == pair[0].DN {
			return s
		}
	}
	return hose.Size{}
}

// The sizes taken that no table lists.
const (
	largestDN   = 500
	largestDash = 320
)

func (b *builder) size(c cell, kind sizeKind) (hose.Size, bool) {
	text := c.numberText()
	if n, err := strconv.Atoi(strings.TrimPrefix(text, "-")); err == nil && n > 0 {
		switch {
		case kind == sizeDN && text[0] != '-':
			if s, ok := hose.SizeOfDN(n); ok || n > largestDN {
				return s, b.sized(c, ok)
			}
			return hose.Size{DN: n}, true
		case kind == sizeDash:
			if s, ok := hose.SizeOfDash(n); ok || n > largestDash {
				return s, b.sized(c, ok)
			}
			return hose.Size{Dash: n}, true
		}
	}
	switch {
	case kind == sizeDN && text[0] >= '0' && text[0] <= '9':
		text = "DN " + text
	case kind == sizeInch && !strings.ContainsAny(text, "\"”in"):
		text += " in"
	}
	readings, err := hose.ParseSize(text)
	switch {
	case err != nil:
		b.fail(c, "%v", err)
		return hose.Size{}, false
	case len(readings) > 1 && kind == sizeAny:
		b.sizes = readings // the rest of the row may tell which
		return hose.Size{}, false
	case len(readings) > 1:
		b.fail(c, twoSizes, clipText(c.text), readings[0].As, readings[1].As)
		return hose.Size{}, false
	}
	return readings[0].Size, true
}

func (b *builder) sized(c cell, ok bool) bool {
	if !ok {
		b.fail(c, "%s is not a hose size", clipText(c.text))
	}
	return ok
}

func writeDN(r *register.ImportRow) string   { return positive(r.Hose.Size.DN) }
func writeDash(r *register.ImportRow) string { return positive(r.Hose.Size.Dash) }

func positive(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// readRating reads the hose's rating; where it came from is settled when the
// layline is known.
func readRating(b *builder, c cell) {
	if v, ok := b.pressure(c); ok {
		b.row.Hose.RatedBar = &v
	}
}

// causeField is the cause of a removal. Words of a person's own are kept as
// the reason.
func causeField(f Field) Field {
	known := f.read
	f.read = func(b *builder, c cell) {
		before := len(b.row.Errors)
		known(b, c)
		if len(b.row.Errors) == before {
			return
		}
		b.row.Errors = b.row.Errors[:before]
		h := b.row.Hose
		h.Cause = register.CauseUnknown
		b.note(c, "%q is none of the causes known here: it is kept as the reason, the cause is unknown", clipText(c.text))
		b.causeText = c.text
	}
	return f
}

// finishHose settles what several cells say together: the layline and the
// cells beside it, the table's rating, dates in their order.
func (b *builder) finishHose() {
	h := b.row.Hose
	if b.causeText != "" && h.Reason == "" {
		h.Reason = b.causeText
	}
	full := b.has["rating_source"] && b.has["made_text"] // written by our export: nothing is left to fill
	if h.Layline != "" && !full {
		b.readLayline(h)
	}
	b.settleSize(h)
	if h.RatedBar != nil && h.RatingSource == "" {
		h.RatingSource = register.RatingTyped
	}
	if h.RatedBar == nil {
		h.RatingSource = ""
	}
	if h.RatedBar == nil && !full && !b.doubt && len(b.cells["rated_bar"].text) == 0 {
		b.tableRating(h)
	}
	b.checkOrder(h)
}

// settleSize decides a size that can be two by the one the layline or another
// cell names.
func (b *builder) settleSize(h *register.HoseRow) {
	if len(b.sizes) == 0 {
		return
	}
	c := b.cells["size"]
	for _, r := range b.sizes {
		if r.Size == h.Size {
			b.note(c, "%s is read as %s, as the rest of the row says", clipText(c.text), r.As)
			return
		}
	}
	b.fail(c, twoSizes, clipText(c.text), b.sizes[0].As, b.sizes[1].As)
}

const twoSizes = "%s can be %s or %s; write DN or a dash before it, or say what the column means: DN, dash or inch"

func (b *builder) readLayline(h *register.HoseRow) {
	c := b.cells["layline"]
	l := hose.ReadLaylineBy(h.Layline, b.today)
	for _, n := range l.Notes {
		if !strings.HasPrefix(n, "no ") && !strings.HasPrefix(n, "the table has ") {
			b.note(c, "%s", n)
		}
	}
	b.layDesignation(h, l, c)
	switch {
	case l.Size.IsZero():
	case h.Size.IsZero():
		h.Size = l.Size
	case h.Size != l.Size:
		b.note(c, "the layline says %s, the row says %s; the row's size is kept", l.Size, h.Size)
	}
	b.layRating(h, l, c)
	b.layDate(h, l, c)
}

func (b *builder) layDesignation(h *register.HoseRow, l hose.Layline, c cell) {
	if len(l.Designations) == 0 {
		return
	}
	if h.Designation == "" {
		h.Designation = l.Designation.String()
		return
	}
	d, err := hose.ParseDesignation(h.Designation)
	for _, printed := range l.Designations {
		if err == nil && d.Type == printed.Type {
			return
		}
	}
	b.note(c, "the layline says %s, the row says %s; the row's designation is kept", l.Designation, clipText(h.Designation))
}

// layRating: the pressure printed on the hose wins over what was typed, unless
// the row says that the typed one was meant.
func (b *builder) layRating(h *register.HoseRow, l hose.Layline, c cell) {
	if l.RatedBar == nil || *l.RatedBar <= 0 {
		return
	}
	if h.RatedBar != nil && !hose.SameRating(*h.RatedBar, *l.RatedBar) {
		typed := b.cells["rated_bar"]
		if typed.col == nil {
			typed = c
		}
		if h.RatingSource == register.RatingTyped {
			b.note(typed, "%s is printed on the hose; the row says that its own %s counts", quantity.Pressure(*l.RatedBar).FormatRating(quantity.Bar), quantity.Pressure(*h.RatedBar).FormatRating(quantity.Bar))
			return
		}
		b.note(typed, "%s is printed on the hose and wins over the %s typed here", quantity.Pressure(*l.RatedBar).FormatRating(quantity.Bar), quantity.Pressure(*h.RatedBar).FormatRating(quantity.Bar))
	}
	v := *l.RatedBar
	h.RatedBar, h.RatingSource = &v, register.RatingPrinted
}

// layDate takes the date printed: of a stamp it is the assembly's.
func (b *builder) layDate(h *register.HoseRow, l hose.Layline, c cell) {
	if l.Made.IsZero() {
		return
	}
	if l.Kind == hose.Assembly {
		if h.Assembled.IsZero() {
			h.Assembled = l.Made
		}
		return
	}
	if h.Made.IsZero() {
		h.Made = l.Made
		if ambiguous := len(l.MadeReadings) > 1; ambiguous {
			h.MadeAmbiguous = &ambiguous
		}
		return
	}
	for _, r := range l.MadeReadings {
		if !h.Made.To.Before(r.Period.From) && !h.Made.From.After(r.Period.To) {
			return
		}
	}
	b.note(c, "the layline says made %s, the row says %s; the row's date is kept", l.Made, h.Made)
}

// tableRating takes the published rating where the row has none, and says so.
func (b *builder) tableRating(h *register.HoseRow) {
	if h.Designation == "" {
		return
	}
	rows, ok := hose.Lookup(h.Designation, h.Size)
	if !ok {
		return
	}
	choice, ok := hose.Choose(rows, nil)
	if !ok || choice.Row.RatedBar <= 0 {
		return
	}
	v := choice.Row.RatedBar
	h.RatedBar, h.RatingSource = &v, register.RatingTable
	c := b.cells["designation"]
	if c.col == nil {
		c = b.cells["layline"]
	}
	why := ""
	if choice.Note != "" {
		why = "; " + choice.Note
	}
	b.note(c, "the row has no rating; %s is the table's for %s %s%s", quantity.Pressure(v).FormatRating(quantity.Bar), choice.Row.Designation, h.Size, why)
}

// removedWithin: of a month or a year of removal that holds the fit date, the
// first day on which it can have come off is that.
func (b *builder) removedWithin(h *register.HoseRow) {
	c := b.cells["removed"]
	if h.Removed.IsZero() || h.Fitted.IsZero() || !h.Removed.Before(h.Fitted.From) {
		return
	}
	p, err := quantity.ParsePeriod(c.text)
	if err != nil || p.Precision == quantity.ToDay || p.From != h.Removed || p.To.Before(h.Fitted.From) {
		return
	}
	h.Removed = h.Fitted.From
	b.note(c, "it was fitted on %s, so it came off on that day or later; that day is taken", h.Fitted.From)
}

// checkOrder refuses what cannot have happened in that order.
func (b *builder) checkOrder(h *register.HoseRow) {
	b.removedWithin(h)
	if !h.Removed.IsZero() && !h.Fitted.IsZero() && h.Removed.Before(h.Fitted.From) {
		b.fail(b.cells["removed"], "it came off on %s, before it was fitted on %s; one of the two is wrong", h.Removed, h.Fitted.From)
	}
	if !h.Made.IsZero() && !h.Assembled.IsZero() && h.Assembled.To.Before(h.Made.From) {
		c := b.cells["assembled"]
		if c.col == nil {
			c = b.cells["layline"]
		}
		b.fail(c, "the assembly was made (%s) before its hose (%s); one of the two is wrong", h.Assembled, h.Made)
	}
	fitted := h.Fitted.To
	if h.FittedText != "" && h.Fitted.Precision == quantity.ToDay { // as the export writes a month or a year
		fitted = fitted.AddDays(register.DaysOutOfOrder)
	}
	if !h.Made.IsZero() && !h.Fitted.IsZero() && fitted.Before(h.Made.From) {
		b.fail(b.cells["fitted"], "it was fitted (%s) before it was made (%s); one of the two is wrong", h.Fitted, h.Made)
	}
	if h.MinBar != nil && h.MaxBar != nil && *h.MaxBar <= *h.MinBar {
		b.fail(b.cells["max_bar"], "the highest pressure of a cycle must be above its lowest")
	}
}
