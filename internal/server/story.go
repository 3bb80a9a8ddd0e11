package server

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// storyStore is what the forms for what happens to hoses ask of the register.
type storyStore interface {
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	MachineLines(ctx context.Context, now time.Time, f register.MachineFilter) ([]register.MachineLine, string, error)
	PositionSheet(ctx context.Context, now time.Time, machine, name string) (register.PositionSheet, error)
	AssemblySheet(ctx context.Context, now time.Time, code string) (register.AssemblySheet, error)
	Assemblies(ctx context.Context, now time.Time, f register.AssemblyFilter) (register.AssemblyPage, error)
	Policies(ctx context.Context) ([]register.Policy, error)
	Sites(ctx context.Context) ([]register.Site, error)
	Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error)

	PlacementSheet(ctx context.Context, id int64) (register.PlacementSheet, error)
	Reading(ctx context.Context, id int64) (register.Reading, string, error)
	MeterEvent(ctx context.Context, id int64) (register.MeterEvent, string, error)
	LayUp(ctx context.Context, id int64) (register.LayUp, string, error)
	Conditions(ctx context.Context, id int64) (register.Conditions, string, error)
	Inspection(ctx context.Context, id int64) (register.Inspection, string, error)
	Finding(ctx context.Context, id int64) (register.Finding, string, error)

	Acts(ctx context.Context, now time.Time, personID int64, limit int) ([]register.Act, error)
	Undo(ctx context.Context, now time.Time, by register.Actor, actID int64) (register.Result, error)
}

// storyRoutes are the forms for what happens to hoses, and for corrections.
func (s *Server) storyRoutes() []route {
	return []route{
		{get, "/machines/:code/swap", register.RightFit, s.newSwap},
		{post, "/machines/:code/swap", register.RightFit, s.addSwap},
		{get, "/machines/:code/remove", register.RightFit, s.newRemoval},
		{post, "/machines/:code/remove", register.RightFit, s.addRemoval},
		{get, "/machines/:code/found", register.RightFit, s.newFound},
		{post, "/machines/:code/found", register.RightFit, s.addFound},
		{get, "/assemblies/new", register.RightFit, s.newStored},
		{post, "/assemblies/new", register.RightFit, s.addStored},
		{get, "/assemblies/:code/edit", register.RightFit, s.editAssembly},
		{post, "/assemblies/:code/edit", register.RightFit, s.changeAssembly},
		{get, "/assemblies/:code/fit", register.RightFit, s.newFitting},
		{post, "/assemblies/:code/fit", register.RightFit, s.addFitting},
		{get, "/assemblies/:code/move", register.RightFit, s.newMove},
		{post, "/assemblies/:code/move", register.RightFit, s.addMove},
		{get, "/assemblies/:code/scrap", register.RightFit, s.newScrap},
		{post, "/assemblies/:code/scrap", register.RightFit, s.addScrap},
		{get, "/findings/:id", register.RightSee, s.finding},
		{post, "/findings/:id", register.RightNote, s.changeFinding},
		{get, "/correct/:thing/:id", register.RightNote, s.correct},
		{post, "/correct/:thing/:id", register.RightNote, s.takeCorrection},
		{get, "/acts", register.RightOwn, s.acts},
		{get, "/acts/:id/undo", register.RightNote, s.askUndo},
		{post, "/acts/:id/undo", register.RightNote, s.undo},
	}
}

// cautions are what to do before a hose is touched.
func cautions() []string {
	return []string{life.SafetyPressure, life.SafetySkin, life.SafetyInjection}
}

// fittingSteps are the steps of fitting a hose, in short. They are common
// practice and have no source; the maker's instructions go before them.
func fittingSteps() []string {
	return []string{
		"Keep both ends capped until they are fitted; look that hose, ends and sealing faces are clean and whole.",
		"Fit it without twist: the printed line runs straight. Keep away from edges, hot parts and what moves.",
		"Hold the hose while the nut is turned, and tighten to the torque of the maker's table.",
		"Clean and cap the old hose's ends; catch the fluid; top up with the right fluid.",
		"Bleed: run slowly, without load, with nobody near.",
		"Look for leaks from a distance, with cardboard or paper, never by hand; depressurise before you retighten.",
		"Look once more after some hours of work.",
	}
}

// onDay is the field for the day of something that happened.
func (f *form) onDay(label string) field {
	return f.field("on", label).need().hint(f.style.HintDate())
}

// meterField is the field for the hour meter, with the last reading as a hint.
func (f *form) meterField(name, label string, readings []register.Reading) field {
	hint := "In hours; there is no reading of this machine yet."
	if last := latestReading(readings); last != nil {
		hint = "In hours. Last reading: " + web.Number(last.Hours, 1) + " h on " + f.style.Date(last.On) + "."
	}
	return f.field(name, label).decimal().hint(hint)
}

// latestReading is the newest reading that nobody disputes, nil if there is none.
func latestReading(readings []register.Reading) *register.Reading {
	if i := slices.IndexFunc(readings, func(r register.Reading) bool { return !r.Disputed }); i >= 0 {
		return &readings[i]
	}
	return nil
}

// causeAsk asks why it came off.
func (f *form) causeAsk() ask {
	a := ask{Name: "cause", Question: "Why did it come off? (needed)", Value: f.text("cause"), Error: f.errorAt("cause")}
	for _, c := range register.Causes() {
		a.Options = append(a.Options, option{string(c), causeText(c)})
	}
	return a
}

// causeText says a cause in the words of someone who looks at a hose.
func causeText(c register.Cause) string {
	switch c {
	case register.CausePlanned:
		return "Planned: replaced by its date, or taken off whole"
	case register.CauseHeat:
		return "Heat: hardened, cracked or charred"
	case register.CausePressure:
		return "Pressure: leak or burst in the hose itself, broken wires"
	case register.CauseAssembly:
		return "Assembly: a fitting slipped, or leaks where hose and fitting meet"
	case register.CauseOutside:
		return "From outside: cut, crushed, chafed or pulled"
	case register.CauseUnknown:
		return "Worn out, cause not known"
	}
	return string(c)
}

// foundByAsk asks how the need was found.
func (f *form) foundByAsk() ask {
	return ask{Name: "found_by", Question: "How was that found? (needed, unless planned)", Value: f.text("found_by"), Error: f.errorAt("found_by"), Options: []option{
		{string(register.FoundByEvent), "By an event: it leaked or burst, or the machine stopped"},
		{string(register.FoundByInspection), "By looking, before it failed; or it was planned"},
	}}
}

// The answers to where an assembly that came off went.
const (
	wentScrap = "scrapped"
	wentStore = "in store"
)

func (f *form) wentAsk() ask {
	return ask{Name: "went", Question: "Where is the old one now? (needed)", Value: f.text("went"), Error: f.errorAt("went"), Options: []option{
		{wentScrap, "Scrapped: it is never fitted again"},
		{wentStore, "Back in store: it may be fitted again"},
	}}
}

// removal reads how an assembly came off. A planned removal needs no answer to
// how it was found: nothing failed.
func (f *form) removal(code string, last *register.Reading) register.Remove {
	r := register.Remove{
		AssemblyCode: code, On: f.day("on"), Hours: f.meter("hours", last), Seen: f.text("seen"),
		Cause:   register.Cause(f.needed("cause", "Say why it came off.")),
		FoundBy: register.FoundBy(f.text("found_by")),
	}
	if r.FoundBy == "" && r.Cause == register.CausePlanned {
		r.FoundBy = register.FoundByInspection
	}
	f.known(r.Cause, r.FoundBy)
	switch f.text("went") {
	case wentScrap:
		r.Scrapped = true
	case wentStore:
	default:
		f.wrong("went", "Say whether it is scrapped or back in store.")
	}
	return r
}

// known wants a cause and a way it was found that there are.
func (f *form) known(cause register.Cause, by register.FoundBy) {
	if !slices.Contains(register.Causes(), cause) {
		f.wrong("cause", "Choose one of the causes.")
	}
	if by != register.FoundByEvent && by != register.FoundByInspection {
		f.wrong("found_by", "Say how it was found: by an event or by looking.")
	}
}

// seenField is the field for what was seen on what came off.
func (f *form) seenField() field {
	return f.field("seen", "What was seen on it").lines(2).wide().hint("Such as: weeping at the ferrule of end A. It helps to learn why hoses fail here.")
}

// at names a place for a sentence.
func at(machine, position string) string { return machine + ", " + position }

// assemblySheetOf is the sheet of the assembly in the path.
func (s *Server) assemblySheetOf(c echo.Context) (register.AssemblySheet, error) {
	code, err := param(c, "code")
	if err != nil {
		return register.AssemblySheet{}, err
	}
	sheet, err := s.store(c).AssemblySheet(c.Request().Context(), s.deps.Now(), code)
	if err == nil {
		err = s.hereToo(c, sheet.Site)
	}
	return sheet, wrap("find assembly", err)
}

// assemblyBase is the base of a page about an assembly.
func (s *Server) assemblyBase(c echo.Context, title string, sheet register.AssemblySheet) Base {
	b := s.base(c, "machines", title)
	b.Site, b.Today, b.May = sheet.Site.Name, sheet.Today, s.mayAt(c, sheet.Site.ID)
	if sheet.Line != nil {
		b.Machine = sheet.Line.MachineCode
	}
	return b
}

// hoseWords names a hose for a list: designation, size, length.
func hoseWords(a register.Assembly, st web.Style) string {
	words := []string{web.Or(a.Designation, "designation unknown"), web.Size(a.DN, a.Dash)}
	if a.LengthMM != nil {
		words = append(words, st.MM(a.LengthMM))
	}
	return strings.Join(words, ", ")
}
