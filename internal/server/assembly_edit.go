package server

import (
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// hoseEditPage is the form for an assembly by itself: one that is put in store,
// or one that is changed.
type hoseEditPage struct {
	Base
	Problems []problem
	Edit     editing
	Lead     string
	Place    []field
	Parts    hoseParts
	Others   []field
	Ticks    []tick
	Button   string
	Action   string
	Once     string
	Preview  *previewView
	Cancel   string
	TakeBack string // where to take back what was put in by mistake
}

func (s *Server) newStored(c echo.Context) error {
	return s.storedForm(c, s.newForm(c, "site", query(c, "site")), nil)
}

func (s *Server) storedForm(c echo.Context, f *form, read *hoseReading) error {
	sites, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return wrap("list sites", err)
	}
	page := hoseEditPage{
		Base: s.base(c, "machines", "Put an assembly in store"), Problems: f.Problems, Parts: f.hoseParts(read, "put it in store"), Once: f.once(), Button: "Put it in store",
		Action: "/assemblies/new", Cancel: "/machines", Lead: "A hose with its two ends that is not fitted to a machine yet. When it is fitted, it can be chosen by its code.",
	}
	page.Place = []field{f.siteChoice(sites, "Site where it is kept")}
	page.Parts.Open = true
	return s.renderForm(c, f, "assembly_edit", page)
}

// siteChoice is the field for a site; the only one there is is chosen.
func (f *form) siteChoice(sites []register.Site, label string) field {
	if len(sites) == 1 {
		f.set("site", sites[0].Name)
	}
	return f.field("site", label).need().choose(choiceOf("choose the site", siteNames(sites))...)
}

func (s *Server) addStored(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		read := readHose(f, s.base(c, "", "").Today)
		a := f.described(read)
		if f.toRead() {
			f.readFirst()
			return "", s.storedForm(c, f, read)
		}
		site := f.needed("site", "Say where it is kept.")
		if !f.describes() {
			f.wrong("layline", "Say what it is: copy its printed line, or give at least designation or size.")
		}
		if !f.ok() || f.toTell() {
			return "", s.storedForm(c, f, read)
		}
		result, err := s.apply(c, register.AddAssembly{Site: site, Assembly: a})
		if err != nil {
			if err := f.refuse(err, hoseNames()); err != nil {
				return "", wrap("put in store", err)
			}
			return "", s.storedForm(c, f, read)
		}
		return withDone(web.Path("assemblies", newCode(comes{}, result)), storeAdded), nil
	})
}

// assemblyValues is the form as an assembly fills it. Every field is set, also
// those that are empty.
func assemblyValues(a register.Assembly, site string, st web.Style) *form {
	f := newForm("code", a.Code, "layline", a.Layline, "designation", a.Designation, "tube", a.Tube, "construction", a.Construction, "maker", a.Maker, "note", a.Note,
		"end_a", a.EndA, "end_b", a.EndB, "end_make", a.EndMake, "fluid", a.Fluid, "site", site,
		"rated", textOf(a.RatedBar, st.Rated), "end_a_bar", textOf(a.EndABar, st.Rated), "end_b_bar", textOf(a.EndBBar, st.Rated),
		"max_c", textOf(a.MaxC, st.RatedCelsius), "length", textOf(a.LengthMM, st.MM), "unconfirmed", yes(a.Unconfirmed), "size", "",
		"made", dateCode(a.Made, a.MadeText, st), "assembled", dateCode(a.Assembled, a.AssembledText, st),
		"made_reading", readingOf(a.Made, a.MadeAmbiguous), "assembled_reading", readingOf(a.Assembled, a.MadeAmbiguous))
	if size := (hose.Size{DN: a.DN, Dash: a.Dash}); !size.IsZero() {
		f.values.Set("size", size.String())
	}
	if !a.ScrappedOn.IsZero() {
		f.values.Set("scrapped_on", st.Date(a.ScrappedOn))
		f.values.Set("scrapped_reason", a.ScrappedReason)
	}
	return f
}

func textOf(v *float64, print func(*float64) string) string {
	if v == nil {
		return ""
	}
	return print(v)
}

// dateCode is a date as printed, or as it is known where it was not printed.
func dateCode(p quantity.Period, text string, st web.Style) string {
	switch {
	case text != "":
		return text
	case p.IsZero():
		return ""
	}
	return st.Period(p)
}

// readingOf is the answer to how a date is to be read that a stored one gives.
func readingOf(p quantity.Period, ambiguous bool) string {
	switch {
	case ambiguous:
		return notSure
	case p.IsZero():
		return ""
	}
	return p.String()
}

// notShown are the fields that the form of an assembly does not always show.
func notShown() []string {
	return []string{"made_reading", "assembled_reading", "site", "scrapped_on", "scrapped_reason"}
}

// fillNotShown gives fields the page did not show what they were, so that they
// are not taken for emptied ones.
func (f *form) fillNotShown() {
	for _, name := range notShown() {
		if _, has := f.values[name]; !has {
			f.values.Set(name, f.values.Get(wasPrefix+name))
		}
	}
}

// forgive drops what is wrong with fields nobody touched: what is stored is
// kept, however it reads.
func (f *form) forgive() {
	f.Problems = slices.DeleteFunc(f.Problems, func(p problem) bool {
		return p.Field != "" && f.untouched(p.Field) && f.untouched(strings.TrimSuffix(p.Field, "_reading"))
	})
}

func (s *Server) editAssembly(c echo.Context) error {
	sheet, err := s.assemblySheetOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(assemblyValues(sheet.Assembly, sheet.Site.Name, f.style), sheet.Assembly.Version)
	f.values.Set("layline_seen", sheet.Assembly.Layline)
	return s.assemblyForm(c, sheet, f, nil, nil)
}

func (s *Server) assemblyForm(c echo.Context, sheet register.AssemblySheet, f *form, read *hoseReading, view *previewView) error {
	a := sheet.Assembly
	page := hoseEditPage{
		Base: s.assemblyBase(c, "Change "+a.Code, sheet), Problems: f.Problems, Parts: f.hoseParts(read, "save"), Once: f.once(), Button: "Save the assembly",
		Action: web.Path("assemblies", a.Code, "edit"), Cancel: web.Path("assemblies", a.Code),
		Lead: "What is known of the hose and its ends. Where and when it was fitted is corrected from its life story.",
	}
	if read == nil {
		page.Parts.Seen = f.text("layline_seen")
	}
	page.Parts.Open = true
	for i, fd := range page.Parts.More {
		if fd.Name == "code" {
			page.Parts.More[i].Hint = "The old code stays this assembly's too; no other one ever gets it."
		}
	}
	page.Others = []field{
		f.field("construction", "Construction").suggest([]string{"wire braid", "wire spiral", "textile", "thermoplastic", "suction"}).hint("What bears the pressure. Empty: taken from the rating table."),
		f.field("fluid", "Fluid").hint("Such as mineral oil or water-based."),
		f.field("end_make", "Maker of the ends").hint("Where it is not the hose's maker."),
	}
	if sheet.Line == nil {
		sites, err := s.store(c).Sites(c.Request().Context())
		if err != nil {
			return wrap("list sites", err)
		}
		page.Place = []field{f.siteChoice(sites, "Site where it is kept")}
	}
	if !a.ScrappedOn.IsZero() {
		page.Others = append(page.Others,
			f.field("scrapped_on", "Scrapped on").hint("Empty it if it was not scrapped after all."),
			f.field("scrapped_reason", "Why it was scrapped"))
	}
	page.Ticks = []tick{f.tick("unconfirmed", "What it is was found by measuring, not by reading").hint("Then its rating counts as unconfirmed.")}
	page.TakeBack = address(correctPath(register.ThingAssembly, a.ID), "do", doTakeBack, "code", a.Code)
	page.Edit, page.Preview = f.editing(), view
	return s.renderForm(c, f, "assembly_edit", page)
}

func (s *Server) changeAssembly(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.assemblySheetOf(c)
		if err != nil {
			return "", err
		}
		f.fillNotShown()
		if f.edits(assemblyValues(sheet.Assembly, sheet.Site.Name, f.style), sheet.Assembly.Version) {
			return "", s.assemblyForm(c, sheet, f, readHose(f, sheet.Today), nil)
		}
		read := readHose(f, sheet.Today)
		a, err := s.changedAssembly(c, sheet, f, read)
		if err != nil {
			return "", err
		}
		f.forgive()
		if f.toRead() {
			f.readFirst()
			return "", s.assemblyForm(c, sheet, f, read, nil)
		}
		f.needed("code", "An assembly keeps a code.")
		view, saved, err := s.save(c, f, previewed, hoseNames(), register.ChangeAssembly{Assembly: a})
		if err != nil || !saved {
			return "", firstOf(err, unless(saved || err != nil, func() error { return s.assemblyForm(c, sheet, f, read, view) }))
		}
		return withDone(web.Path("assemblies", a.Code), assemblyChanged), nil
	})
}

// changedAssembly is the assembly as the form has it. A value whose field
// nobody touched stays exactly what it was.
func (s *Server) changedAssembly(c echo.Context, sheet register.AssemblySheet, f *form, read *hoseReading) (register.Assembly, error) {
	old, typed := sheet.Assembly, f.described(read)
	a := typed
	a.ID, a.SiteID, a.Version = old.ID, old.SiteID, f.version()
	a.EndMake, a.Fluid, a.Unconfirmed = f.text("end_make"), f.text("fluid"), f.ticked("unconfirmed")
	keepUntouched(f, &a, old)
	if f.untouched("construction") && f.untouched("designation") && f.untouched("size") {
		a.Construction = old.Construction
	} else if typed := f.text("construction"); typed != "" && !f.untouched("construction") {
		a.Construction = typed
	}
	if !old.ScrappedOn.IsZero() {
		a.ScrappedOn = kept(f, "scrapped_on", old.ScrappedOn, func() quantity.Date { return f.day("scrapped_on") })
		if !a.ScrappedOn.IsZero() {
			a.ScrappedReason = f.text("scrapped_reason")
		}
	}
	if sheet.Line != nil || f.untouched("site") {
		return a, nil
	}
	sites, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return a, wrap("list sites", err)
	}
	name := f.needed("site", "Say where it is kept.")
	if i := slices.IndexFunc(sites, func(v register.Site) bool { return strings.EqualFold(v.Name, name) }); i >= 0 {
		a.SiteID = sites[i].ID
	} else if name != "" {
		f.wrong("site", "There is no site "+name+"; choose one of the list.")
	}
	return a, nil
}

// keepUntouched puts back what a printed text cannot hold exactly: values that
// are shown rounded, dates with their text, where a rating is from.
func keepUntouched(f *form, a *register.Assembly, old register.Assembly) {
	if f.untouched("rated") {
		a.RatedBar, a.RatingSource = old.RatedBar, old.RatingSource
	}
	if f.untouched("size") {
		a.DN, a.Dash = old.DN, old.Dash
	}
	for _, v := range []struct {
		name string
		to   **float64
		old  *float64
	}{{"end_a_bar", &a.EndABar, old.EndABar}, {"end_b_bar", &a.EndBBar, old.EndBBar}, {"max_c", &a.MaxC, old.MaxC}, {"length", &a.LengthMM, old.LengthMM}} {
		if f.untouched(v.name) {
			*v.to = v.old
		}
	}
	if f.untouched("tube") {
		a.Tube = old.Tube
	}
	if f.untouched("made") && f.untouched("made_reading") {
		a.Made, a.MadeText = old.Made, old.MadeText
	}
	if f.untouched("assembled") && f.untouched("assembled_reading") {
		a.Assembled, a.AssembledText = old.Assembled, old.AssembledText
	}
	if f.untouched("made") && f.untouched("assembled") && f.untouched("made_reading") && f.untouched("assembled_reading") {
		a.MadeAmbiguous = old.MadeAmbiguous
	}
}
