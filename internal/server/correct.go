package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// correction is a fact of the past as its form has it: the row that is there,
// the fields that show it, and the command that what was typed makes.
type correction struct {
	thing   register.Thing
	id      int64
	version int
	title   string // what it is, such as the reading of 2026-10-02
	lead    []string
	back    string   // the page it is seen on
	cancel  string   // where else to go back to; empty: back
	gone    string   // where to go once it is taken back; empty: back
	asked   int64    // the number in the address, where it is not its own
	query   []string // what else its address asks, as pairs
	site    string
	machine string
	today   quantity.Date
	may     may

	values  *form // as the row fills the form; nil where it can only be taken back
	groups  func(f *form) []formGroup
	command func(f *form) register.Command
	names   map[string]string // fields of the form for the register's
	takes   string            // what taking it back does, in a sentence
	links   []formLink
}

// address is where the form is sent.
func (v correction) address(pairs ...string) string {
	id := v.id
	if v.asked != 0 {
		id = v.asked
	}
	return address(correctPath(v.thing, id), append(pairs, v.query...)...)
}

// doTakeBack is the question of the address that asks to take something back.
const doTakeBack = "back"

// correctPath is where a thing is corrected.
func correctPath(thing register.Thing, id int64) string {
	return web.Path("correct", string(thing), strconv.FormatInt(id, 10))
}

// correctionOf is the correction of the thing in the path.
func (s *Server) correctionOf(c echo.Context) (correction, error) {
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil || id <= 0 {
		return correction{}, echo.ErrNotFound
	}
	var of func(echo.Context, int64) (correction, error)
	switch register.Thing(c.Param("thing")) {
	case register.ThingPlacement:
		of = s.correctPlacement
	case register.ThingReading:
		of = s.correctReading
	case register.ThingMeterEvent:
		of = s.correctMeterEvent
	case register.ThingLayUp:
		of = s.correctLayUp
	case register.ThingConditions:
		of = s.correctConditions
	case register.ThingInspection:
		of = s.correctInspection
	case register.ThingFinding:
		of = s.correctFinding
	case register.ThingRemoval:
		of = s.correctRemoval
	case register.ThingAssembly:
		of = s.correctAssembly
	default:
		return correction{}, echo.ErrNotFound
	}
	return of(c, id)
}

// ofMachine fills what a correction says of the machine it is about.
func (s *Server) ofMachine(c echo.Context, v *correction, code string) (register.MachineSheet, error) {
	sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return sheet, wrap("find machine", err)
	}
	if err := s.needAt(c, sheet.Site, correctRight(v.thing)); err != nil {
		return sheet, err
	}
	v.site, v.machine, v.today, v.may = sheet.Site.Name, sheet.Machine.Code, sheet.Today, s.mayAt(c, sheet.Site.ID)
	if v.back == "" {
		v.back = web.Path("machines", code)
	}
	return sheet, nil
}

func (s *Server) correct(c echo.Context) error {
	v, err := s.correctionOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	if query(c, "do") == doTakeBack || v.values == nil {
		f.edits(newForm(), v.version)
	} else {
		f.edits(v.values, v.version)
	}
	return s.correctForm(c, v, f)
}

func (s *Server) correctForm(c echo.Context, v correction, f *form) error {
	page := formPage{Base: s.base(c, "machines", "Correct "+v.title), Lead: v.lead, Cancel: web.Or(v.cancel, v.back), Links: v.links, Safety: safetyLines()}
	page.Site, page.Machine, page.Today, page.May = v.site, v.machine, v.today, v.may
	why := f.field("reason", "Why is it corrected?").need().wide().hint("The reason stays beside the correction.")
	if query(c, "do") == doTakeBack || v.values == nil {
		why.Label = "Why is it taken back?"
		page.Title, page.Button, page.Action = "Take back "+v.title, "Take it back", v.address("do", doTakeBack)
		page.Lead = []string{"Take back what was noted by mistake and never was so. " + v.takes + " It is refused where something was built upon it; the log of changes keeps what was there."}
		page.Groups, page.Links = []formGroup{{Fields: []field{why}}}, nil
		return s.showForm(c, f, page)
	}
	page.Action, page.Button = v.address(), "Correct it"
	page.Groups = append(v.groups(f), formGroup{Fields: []field{why}})
	page.Links = append(page.Links, formLink{v.address("do", doTakeBack), "It never was so: take it back"})
	return s.showForm(c, f, page)
}

func (s *Server) takeCorrection(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		v, err := s.correctionOf(c)
		if err != nil {
			return "", err
		}
		if query(c, "do") == doTakeBack || v.values == nil {
			return s.takeBack(c, v, f)
		}
		if f.edits(v.values, v.version) {
			return "", s.correctForm(c, v, f)
		}
		if f.moreRows() {
			return "", s.correctForm(c, v, f)
		}
		cmd := v.command(f)
		if v.thing != register.ThingLayUp { // ending one needs no reason
			f.needed("reason", "Say why: the reason stays beside the correction.")
		}
		_, saved, err := s.save(c, f, atOnce, v.names, cmd)
		if err != nil {
			return "", err
		}
		if !saved {
			return "", s.correctForm(c, v, f)
		}
		return withDone(v.back, corrected), nil
	})
}

// takeBack takes back a thing, if it still is as it was when the page was
// opened.
func (s *Server) takeBack(c echo.Context, v correction, f *form) (string, error) {
	if opened := f.text("version"); opened != "" && opened != strconv.Itoa(v.version) {
		f.wrong("", "Somebody else changed this since you opened the page. Look at it as it is now; if it is still to be taken back, send this again.")
	}
	f.edits(newForm(), v.version)
	cmd := register.TakeBack{What: v.thing, ID: v.id, Version: v.version, Reason: f.needed("reason", "Say why: the reason stays in the log of changes.")}
	if f.ok() {
		_, err := s.apply(c, cmd)
		if err == nil {
			s.sent.forget()
			return withDone(web.Or(v.gone, v.back), takenBack), nil
		}
		if err := f.refuse(err, nil); err != nil {
			return "", wrap("take back", err)
		}
	}
	return "", s.correctForm(c, v, f)
}
