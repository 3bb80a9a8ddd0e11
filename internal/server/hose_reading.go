package server

import (
	"slices"
	"strconv"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// hoseReading is what was read of a form's texts: the layline, and the dates
// and the size with all their readings.
type hoseReading struct {
	layline   hose.Layline
	has       bool // a layline was given
	text      string
	sizes     []hose.SizeReading
	made      dateText
	assembled dateText
}

// dateText is a date code with its readings.
type dateText struct {
	name, question string // of the form's question on it
	text           string
	readings       []hose.DateReading
	earliest       quantity.Period
}

// readHose reads the layline and the codes of a form. Fields the layline
// answers and that are empty, or still hold what an earlier layline said, are
// filled from it.
func readHose(f *form, today quantity.Date) *hoseReading {
	r := &hoseReading{text: f.text("layline")}
	if r.text != "" {
		r.layline, r.has = hose.ReadLaylineBy(r.text, today), true
		seen := f.text("layline_seen")
		if seen != "" && seen != r.text {
			forget(f, hose.ReadLaylineBy(seen, today))
		}
		for name, value := range laylineValues(f.style, r.layline) {
			f.set(name, value)
		}
	}
	r.readSize(f)
	r.made = readDate(f, "made", "When was the hose made?", hose.Bulk, today)
	if f.text("made") == "" && r.has {
		r.made.readings, r.made.earliest = r.layline.MadeReadings, r.layline.Made
	}
	r.assembled = readDate(f, "assembled", "When was the assembly made?", hose.Assembly, today)
	f.notAhead("made", r.made.earliest, today)
	f.notAhead("assembled", r.assembled.earliest, today)
	r.tellDifferences(f)
	return r
}

// tellDifferences tells where a field says something else than the printed
// line; the field is kept, as the import keeps a row's own cell.
func (r *hoseReading) tellDifferences(f *form) {
	l := r.layline
	if typed := f.text("designation"); typed != "" && len(l.Designations) > 0 {
		d, err := hose.ParseDesignation(typed)
		if err != nil || !slices.ContainsFunc(l.Designations, func(printed hose.Designation) bool { return printed.Type == d.Type }) {
			f.tell("Designation", "the printed line says "+l.Designation.String()+"; "+typed+", as typed, is kept")
		}
	}
	if len(r.sizes) == 1 && !l.Size.IsZero() && r.sizes[0].Size != l.Size {
		f.tell("Size", "the printed line says "+l.Size.String()+"; "+r.sizes[0].Size.String()+", as typed, is kept")
	}
	name, made := "Hose made", r.made
	if l.Kind == hose.Assembly {
		name, made = "Assembly made", r.assembled
	}
	meets := func(d hose.DateReading) bool {
		return !made.earliest.To.Before(d.Period.From) && !made.earliest.From.After(d.Period.To)
	}
	if !made.earliest.IsZero() && len(l.MadeReadings) > 0 && !slices.ContainsFunc(l.MadeReadings, meets) {
		f.tell(name, "the printed line says "+f.style.Period(l.Made)+"; "+f.style.Period(made.earliest)+", as typed, is kept")
	}
}

// laylineValues are the fields a layline answers without doubt.
func laylineValues(st web.Style, l hose.Layline) map[string]string {
	values := map[string]string{}
	if l.Designation.Type != "" {
		values["designation"] = l.Designation.String()
	}
	if !l.Size.IsZero() {
		values["size"] = l.Size.String()
	}
	if l.RatedBar != nil {
		values["rated"] = st.Rated(l.RatedBar)
	}
	if len(l.MadeReadings) == 1 && l.Kind == hose.Bulk {
		values["made"] = l.Made.String()
	}
	if len(l.MadeReadings) == 1 && l.Kind == hose.Assembly {
		values["assembled"] = l.Made.String()
	}
	return values
}

// forget empties the fields that hold what an earlier layline said.
func forget(f *form, earlier hose.Layline) {
	for name, value := range laylineValues(f.style, earlier) {
		if f.text(name) == value {
			f.values.Set(name, "")
		}
	}
}

func (r *hoseReading) readSize(f *form) {
	t := f.text("size")
	if t == "" {
		r.sizes = r.layline.SizeReadings
		return
	}
	readings, err := hose.ParseSize(t)
	if err != nil {
		f.wrong("size", sentenceOf(err))
		return
	}
	r.sizes = readings
}

func readDate(f *form, name, question string, kind hose.Kind, today quantity.Date) dateText {
	d := dateText{name: name, question: question, text: f.text(name)}
	if d.text == "" {
		return d
	}
	var stored quantity.Period // as this form itself fills it in
	if err := stored.UnmarshalText([]byte(d.text)); err == nil && stored.Precision != quantity.ToYear {
		d.readings, d.earliest = []hose.DateReading{{Period: stored}}, stored
		return d
	}
	code, err := hose.ReadDateCode(d.text, kind, today)
	if err != nil {
		f.wrong(name, sentenceOf(err))
		return d
	}
	d.readings, d.earliest = code.Readings, code.Made
	return d
}

// settle is the period a date text means by the answer in the form. A text
// with several readings and no answer is asked about.
func (d dateText) settle(f *form) (p quantity.Period, text string, ambiguous bool) {
	switch len(d.readings) {
	case 0:
		return quantity.Period{}, "", false
	case 1:
		if d.text != d.readings[0].Period.String() {
			text = d.text
		}
		return d.readings[0].Period, text, false
	}
	answer := f.text(d.name + "_reading")
	if answer == notSure {
		return d.earliest, d.text, true
	}
	for _, r := range d.readings {
		if r.Period.String() == answer {
			return r.Period, d.text, false
		}
	}
	f.wrong(d.name+"_reading", "This date can be read in more than one way. Choose the right reading, or say that you are not sure.")
	return quantity.Period{}, "", false
}

// size is the size by the answer in the form.
func (r *hoseReading) size(f *form) hose.Size {
	switch len(r.sizes) {
	case 0:
		return hose.Size{}
	case 1:
		return r.sizes[0].Size
	}
	answer := f.text("size_reading")
	for i, s := range r.sizes {
		if strconv.Itoa(i) == answer {
			return s.Size
		}
	}
	f.wrong("size_reading", "This size can be read in more than one way. Choose the right reading.")
	return hose.Size{}
}

// rating is the rating that is stored of the one typed and the one printed,
// and where it is from. The printed one wins, as it does in a sheet; a lower
// one that was typed is kept, since it is the safer one. Either is told.
func (r *hoseReading) rating(f *form, typed *float64) (*float64, register.RatingSource) {
	var printed *float64
	if r.has {
		printed = r.layline.RatedBar
	}
	bar, source := register.SettledRating(typed, printed)
	switch {
	case typed == nil || printed == nil || *printed <= 0 || hose.SameRating(*typed, *printed):
	case source == register.RatingPrinted:
		f.tell("Rating of the hose", f.style.Rated(printed)+" is printed on the hose and wins over the "+f.style.Rated(typed)+" typed; "+f.style.Rated(printed)+" is stored")
	default:
		f.tell("Rating of the hose", "the "+f.style.Rated(typed)+" typed is lower than the "+f.style.Rated(printed)+" printed on the hose; the lower of the two, "+f.style.Rated(typed)+", is stored, as typed")
	}
	return bar, source
}

// shown is what was read of the layline, for the page; nil without one.
func (r *hoseReading) shown(st web.Style) *reading {
	if !r.has {
		return nil
	}
	l := r.layline
	sizes := web.Unknown
	for i, s := range l.SizeReadings {
		if i == 0 {
			sizes = s.Size.String()
		} else {
			sizes += " or " + s.Size.String()
		}
	}
	made := web.Unknown
	for i, d := range l.MadeReadings {
		if i == 0 {
			made = st.Period(d.Period)
		} else {
			made += " or " + st.Period(d.Period)
		}
	}
	madeName := "hose made"
	if l.Kind == hose.Assembly {
		madeName = "assembly made"
	}
	return &reading{Text: r.text, Notes: l.Notes, Facts: []fact{
		{"standard", web.Or(l.Standard, web.Unknown)},
		{"designation", web.Or(l.Designation.String(), web.Unknown)},
		{"size", sizes},
		{"rating", st.Rated(l.RatedBar)},
		{madeName, made},
	}}
}

// asks are the questions on texts with several readings.
func (r *hoseReading) asks(f *form) []ask {
	var asks []ask
	if len(r.sizes) > 1 {
		a := ask{Name: "size_reading", Question: "Which size is it?", Value: f.text("size_reading"), Error: f.errorAt("size_reading")}
		for i, s := range r.sizes {
			a.Options = append(a.Options, option{strconv.Itoa(i), s.Size.String() + ", read as " + s.As})
		}
		asks = append(asks, a)
	}
	for _, d := range []dateText{r.made, r.assembled} {
		if len(d.readings) < 2 {
			continue
		}
		name := d.name + "_reading"
		a := ask{Name: name, Question: d.question, Value: f.text(name), Error: f.errorAt(name)}
		for _, reading := range d.readings {
			text := f.style.Period(reading.Period)
			if reading.As != "" {
				text += ", read as " + reading.As
			}
			a.Options = append(a.Options, option{reading.Period.String(), text})
		}
		a.Options = append(a.Options, option{notSure, "not sure – count from the earliest, " + f.style.Period(d.earliest) + ", and keep the doubt"})
		asks = append(asks, a)
	}
	return asks
}
