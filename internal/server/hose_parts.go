package server

import (
	"slices"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// hoseParts are the parts of a form on which a hose is described by what
// stands on it. The partials "hose-read" and "hose-fields" print them; they are
// the same wherever a hose is described.
type hoseParts struct {
	Layline field
	Seen    string // the layline whose reading is shown; empty before it is read
	Read    *reading
	Told    []string // what was taken for granted in reading the fields
	ToldKey string
	Asks    []ask
	Hose    []field
	More    []field
	Summary string // what the further fields are about
	Open    bool   // the further fields are to be seen
	Do      string // what to do if all is right, such as "add the hose"
}

// hoseParts are the parts for a form; read is what was read of it, nil before
// anything was sent.
func (f *form) hoseParts(read *hoseReading, do string) hoseParts {
	p := hoseParts{Told: f.Told, ToldKey: f.told(), Do: do, Summary: "ends, tube, temperature, length, code"}
	if read != nil {
		p.Seen, p.Read, p.Asks = f.text("layline"), read.shown(f.style), read.asks(f)
	}
	p.Layline = f.field("layline", "Printed line on the hose").lines(2).wide().hint("Copy it as it stands, such as EN 853 2SN DN 12 275 BAR 3Q24. It fills the fields below that are empty.")
	p.Hose = []field{
		f.field("designation", "Designation").suggest(designationNames()).hint("Such as EN 853 2SN or SAE 100R2AT."),
		f.field("size", "Size").hint("DN 12, -8 or 1/2 in."),
		f.field("rated", "Rating of the hose").hint(f.style.HintPressure() + " Empty: taken from the rating table."),
		f.field("made", "Hose made").hint("As printed: 3Q24, 11/2024."),
		f.field("assembled", "Assembly made").hint("Stamp on the ferrule: 1606 is June 2016."),
	}
	p.More = []field{
		f.field("code", "Code of the assembly").hint("Empty: the register gives one."),
		f.field("end_a", "End A").hint("Kind of end, such as 24 degree cone 15L."),
		f.field("end_a_bar", "Rating of end A").hint(f.style.HintPressure()),
		f.field("end_b", "End B"),
		f.field("end_b_bar", "Rating of end B"),
		f.field("tube", "Tube material").suggest(tubeMaterials()),
		f.field("max_c", "Highest fluid temperature").hint(f.style.HintTemperature()),
		f.field("length", "Length").hint(f.style.HintLength()),
		f.field("maker", "Maker of the hose").hint("As printed."),
		f.field("note", "Note").lines(2).wide(),
	}
	for _, fd := range p.More {
		p.Open = p.Open || fd.Error != ""
	}
	return p
}

func tubeMaterials() []string { return []string{"NBR", "CR", "EPDM", "PTFE", "thermoplastic"} }

func designationNames() []string {
	var names []string
	for _, d := range hose.Designations() {
		names = append(names, d.String())
	}
	return names
}

// described is the assembly that a form describes.
func (f *form) described(read *hoseReading) register.Assembly {
	a := register.Assembly{
		Code: f.text("code"), Layline: f.text("layline"), Maker: f.text("maker"), Designation: f.text("designation"), Tube: f.text("tube"),
		EndA: f.text("end_a"), EndB: f.text("end_b"), Note: f.text("note"),
		EndABar: f.pressure("end_a_bar", "Rating of end A"), EndBBar: f.pressure("end_b_bar", "Rating of end B"), MaxC: f.temperature("max_c"), LengthMM: f.length("length", "Length"),
	}
	a.RatedBar, a.RatingSource = read.rating(f, f.pressure("rated", "Rating of the hose"))
	size := read.size(f)
	a.DN, a.Dash = size.DN, size.Dash
	a.Made, a.MadeText, a.MadeAmbiguous = read.made.settle(f)
	var unsettled bool
	a.Assembled, a.AssembledText, unsettled = read.assembled.settle(f)
	a.MadeAmbiguous = a.MadeAmbiguous || unsettled
	a.FillFromTable()
	return a
}

// toRead reports whether a printed line was typed whose reading the page has
// not shown yet: it is shown before anything is checked or saved.
func (f *form) toRead() bool {
	return f.text("layline") != "" && f.text("layline") != f.text("layline_seen")
}

// readFirst drops what is wrong that may wait: what was read of the printed
// line is shown first, then all of it is checked. A day or hours typed wrong
// may not wait, nor what is wrong with the form as a whole, such as what
// somebody else did meanwhile: the form would not say so again.
func (f *form) readFirst() {
	f.Problems = slices.DeleteFunc(f.Problems, func(p problem) bool {
		switch p.Field {
		case "":
			return false
		case "on", "hours", "fitted", "fitted_hours":
			return f.text(p.Field) == ""
		}
		return true
	})
}

// describes reports whether anything of a hose was typed.
func (f *form) describes() bool {
	for _, name := range []string{"layline", "designation", "size", "rated", "made", "assembled"} {
		if f.text(name) != "" {
			return true
		}
	}
	return false
}

// hoseNames are the fields of a form for the register's fields of an assembly
// and its fitting.
func hoseNames(more ...string) map[string]string {
	names := map[string]string{
		"rated_bar": "rated", "length_mm": "length", "dn": "size", "dash": "size",
		"made_text": "made", "assembled_text": "assembled", "assembly_code": "code",
	}
	for i := 0; i+1 < len(more); i += 2 {
		names[more[i]] = more[i+1]
	}
	return names
}

// fittedText is how a fitting's day was written where it was not one day.
func (f *form) fittedText(name string, p quantity.Period) string {
	if p.IsZero() || p.Precision == quantity.ToDay {
		return ""
	}
	return f.text(name)
}
