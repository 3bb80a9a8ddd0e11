package hose

// End is the published rating of one size of end fitting.
type End struct {
	Family   string // "24 degree cone", "flange"
	Standard string // "ISO 8434-1"
	Series   string // L, S, LL; code 61, code 62
	Tube     string // outside diameter of the tube in mm, "15" or "4-8"; empty for flanges
	Inch     string // nominal flange size in inches; empty for cones
	Thread   string // empty for flanges
	DN       int    // usual hose DN, or the flange's DN; 0 if not known

	RatedBar float64 // maximum working pressure
	RatedPSI float64 // 0 unless the source gives psi

	Confidence Confidence
	Source     string
	Remark     string
}

// Ends lists the published ratings of end fittings, in the order of the
// tables. There are none for 37 degree, face seal and BSP ends and for the
// flanges 1 in and 3 in: the figures found are doubtful, so the rating of such
// an end has to be entered.
func Ends() []End { return append([]End(nil), tables().ends...) }

func (t *table) addEnd(r *record) error {
	e := End{
		Family: r.text("family"), Standard: r.text("standard"), Series: r.text("series"),
		Tube: r.text("tube_mm"), Inch: r.text("inch"), Thread: r.text("thread"), DN: int(r.number("dn")),
		Confidence: Confidence(r.text("confidence")), Source: r.text("source"), Remark: r.text("remark"),
	}
	e.RatedBar, e.RatedPSI = r.pressure("mwp")
	if r.err != nil {
		return r.err
	}
	t.ends = append(t.ends, e)
	return nil
}
