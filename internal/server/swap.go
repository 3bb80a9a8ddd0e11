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

// swapPage is the form for a swap: the old hose off, the new one on. Where the
// position is empty only the new one is asked for.
type swapPage struct {
	Base
	Sheet    register.MachineSheet
	Position string
	Choose   []choiceLink // positions to choose from; the form is not shown then
	Old      *oldHose
	Problems []problem
	When     []field
	Asks     []ask
	Seen     field
	New      newHose
	Action   string
	Once     string
	OldCode  string // what the page takes to sit there, sent back with the form
	Cancel   string
	Remove   string // where to note that it came off and nothing took its place
	Found    string // where to note that something else hangs there
	Cautions []string
	Steps    []string
	Safety   []string
}

// choiceLink is one thing to choose by a link.
type choiceLink struct{ Text, Says, URL string }

// oldHose is what comes off.
type oldHose struct {
	Code, Words string
	Rating      string
	Needs       string // the pressure it works at
	Length      string // what the position asks for
	Fitted      quantity.Date
	Open        []openFinding
}

// oldHose is what a page says of what sits at a place, nil if nothing does.
func (p place) oldHose() *oldHose {
	if p.old == nil {
		return nil
	}
	o := &oldHose{Code: p.old.Assembly.Code, Words: hoseWords(p.old.Assembly, p.style), Rating: p.style.Rated(ratingOf(p.old.Assembly).Bar), Length: p.style.MM(p.length())}
	if need := p.needBar(); need != nil {
		o.Needs = p.style.Bar(need)
	}
	if p.old.Line != nil {
		o.Fitted = p.old.Line.Fitted
	}
	for _, f := range p.old.Open {
		o.Open = append(o.Open, openFinding{f, findingWords(f)})
	}
	return o
}

// positionAsked is the position in the query, with its machine. Where none is
// asked for the page lets one choose.
func (s *Server) positionAsked(c echo.Context) (p place, chosen bool, err error) {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return p, false, err
	}
	name := query(c, "position")
	if name == "" {
		return place{sheet: sheet}, false, nil
	}
	p, err = s.placeOf(c, sheet, name, s.style(c))
	return p, true, err
}

// choosePosition are links to a form for each position of a machine.
func choosePosition(sheet register.MachineSheet, form string, empty bool) []choiceLink {
	var links []choiceLink
	add := func(name, says string) {
		links = append(links, choiceLink{name, says, address(web.Path("machines", sheet.Machine.Code, form), "position", name)})
	}
	for _, l := range sheet.Lines {
		add(l.Position, l.AssemblyCode+", "+web.Or(l.Designation, "hose unknown"))
	}
	for _, p := range sheet.Empty {
		if empty {
			add(p.Name, "empty: fit a hose")
		}
	}
	return links
}

func (s *Server) newSwap(c echo.Context) error {
	p, chosen, err := s.positionAsked(c)
	if err != nil {
		return err
	}
	if !chosen {
		page := swapPage{Base: s.machineBase(c, "Swap a hose at "+p.sheet.Machine.Code, p.sheet), Sheet: p.sheet, Choose: choosePosition(p.sheet, "swap", true), Cancel: web.Path("machines", p.sheet.Machine.Code)}
		return s.show(c, "swap", page)
	}
	f := s.newForm(c, "on", p.style.Date(p.sheet.Today), "went", wentScrap, "old", p.oldCode(), "from", query(c, "from"), "layline", "")
	return s.swapForm(c, p, f, nil, nil)
}

func (s *Server) swapForm(c echo.Context, p place, f *form, read *hoseReading, checks []string) error {
	do, title := "swap", "Swap the hose at "
	if p.old == nil {
		do, title = "fit it", "Fit a hose at "
	}
	fitted, err := s.comesForm(c, p, f, read, checks, do)
	if err != nil {
		return err
	}
	p.hints(&fitted.Parts)
	machine := p.sheet.Machine.Code
	page := swapPage{
		Base: s.machineBase(c, title+at(machine, p.position), p.sheet), Sheet: p.sheet, Position: p.position, Old: p.oldHose(), Problems: f.Problems, New: fitted,
		Action: address(web.Path("machines", machine, "swap"), "position", p.position), Once: f.once(), OldCode: p.oldCode(), Cancel: web.Path("machines", machine),
		Cautions: cautions(), Steps: fittingSteps(), Safety: safetyLines(),
	}
	page.When = []field{f.onDay("Day"), f.meterField("hours", "Hour meter then", p.sheet.Readings)}
	if p.old != nil {
		page.Asks, page.Seen = []ask{f.causeAsk(), f.foundByAsk(), f.wentAsk()}, f.seenField()
		page.Remove = address(web.Path("machines", machine, "remove"), "position", p.position)
		page.Found = address(web.Path("machines", machine, "found"), "position", p.position)
	}
	return s.renderForm(c, f, "swap", page)
}

// hints says at the fields what was here, as hints only: what comes on is read
// off the new hose.
func (p place) hints(parts *hoseParts) {
	if p.like == nil {
		return
	}
	was := p.like.Assembly
	says := map[string]string{"designation": was.Designation, "size": hose.Size{DN: was.DN, Dash: was.Dash}.String(), "end_a": was.EndA, "end_b": was.EndB}
	if length := p.length(); length != nil {
		says["length"] = p.style.MM(length)
	}
	for _, fields := range [][]field{parts.Hose, parts.More} {
		for i, fd := range fields {
			if text := says[fd.Name]; text != "" {
				fields[i].Hint += " Here: " + text + "."
			}
		}
	}
}

func (s *Server) addSwap(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	return s.sendOnce(c, f, func() (string, error) {
		p, chosen, err := s.positionAsked(c)
		if err != nil || !chosen {
			return "", firstOf(err, echo.ErrNotFound)
		}
		return s.swap(c, p, f)
	})
}

// swap carries out a swap, or a fitting where the position is empty, and says
// where to go then; nowhere where the form is shown again.
func (s *Server) swap(c echo.Context, p place, f *form) (string, error) {
	if next := p.swappedAlready(f); next != "" {
		return next, nil
	}
	if p.like != nil && f.ticked("same") {
		f.takeOver(p.like.Assembly)
		return "", s.swapForm(c, p, f, readHose(f, p.sheet.Today), nil)
	}
	cmds, n, checks, err := s.swapCommands(c, p, f)
	if err != nil {
		return "", err
	}
	if n.code == "" && f.toRead() {
		f.readFirst()
		return "", s.swapForm(c, p, f, n.read, checks)
	}
	if !f.ok() || f.toTell() || f.toCheck(checks) {
		return "", s.swapForm(c, p, f, n.read, checks)
	}
	result, err := s.apply(c, cmds...)
	if err != nil {
		if err := f.refuse(err, swapNames(n)); err != nil {
			return "", wrap("swap", err)
		}
		return "", s.swapForm(c, p, f, n.read, checks)
	}
	word := fitted
	if p.old != nil {
		word = swapped
	}
	return withDone(web.Path("assemblies", newCode(n, result)), word), nil
}

// newCode is the code of what was fitted.
func newCode(n comes, result register.Result) string {
	if n.code == "" && len(result.Codes) > 0 {
		return result.Codes[0]
	}
	return n.code
}

// swapCommands are the changes a form asks for and what is to be seen before
// they are made.
func (s *Server) swapCommands(c echo.Context, p place, f *form) (cmds []register.Command, n comes, checks []string, err error) {
	f.needed("on", "Give the day it was fitted.")
	on, hours := f.day("on"), f.meter("hours", latestReading(p.sheet.Readings))
	f.notAhead("on", quantity.Day(on), p.sheet.Today)
	if p.old != nil {
		r := f.removal(p.oldCode(), latestReading(p.sheet.Readings))
		cmds = append(cmds, r)
		checks = append(checks, removalChecks(*p.old, r)...)
	}
	if n, err = s.newOne(c, p, f); err != nil {
		return nil, n, nil, err
	}
	f.release(n.damaged)
	if n.code != "" || f.describes() {
		checks = append(checks, p.checks(n.assembly, on)...)
	}
	return append(cmds, n.commands(f, p, on, "", hours)...), n, checks, nil
}

// removalChecks say what is to be thought of before a hose goes off.
func removalChecks(old register.AssemblySheet, r register.Remove) []string {
	var out []string
	if len(old.Open) == 0 {
		return nil
	}
	strict := old.Open[0]
	if !r.Scrapped {
		out = append(out, "It goes back in store although an inspection found: "+findingWords(strict)+" (class "+string(strict.Class)+"). The removal closes the finding; if the damage is still there, scrap the hose.")
	}
	if r.Cause == register.CausePlanned {
		out = append(out, "Planned is chosen although an inspection found: "+findingWords(strict)+". If that is why it came off, choose that cause; the register learns from it.")
	}
	return out
}

// swappedAlready says where a swap led that was carried out since its form was
// opened; empty if none was. Where something else sits there by now the form is
// told so.
func (p place) swappedAlready(f *form) string {
	before := f.text("old")
	if before == p.oldCode() {
		return ""
	}
	f.values.Set("old", p.oldCode())
	if p.old != nil && p.old.Line != nil && p.old.Line.Fitted == f.day("on") && (strings.EqualFold(f.text("from"), p.oldCode()) || f.text("from") == "" && f.text("layline") != "" && f.text("layline") == p.old.Assembly.Layline) {
		return withDone(web.Path("assemblies", p.oldCode()), swapped)
	}
	switch {
	case p.old == nil:
		f.wrong("", before+", which sat here when you opened the page, came off meanwhile. If you go on, the new hose is fitted and nothing else is noted.")
	case before == "":
		f.wrong("", p.oldCode()+" was fitted here meanwhile. If you go on, that one comes off.")
	default:
		f.wrong("", p.oldCode()+" was fitted here meanwhile in place of "+before+". If you go on, "+p.oldCode()+" comes off.")
	}
	return ""
}

// swapNames are the fields of the form for the register's.
func swapNames(n comes) map[string]string {
	names := hoseNames()
	names["assembly_code"] = "from"
	if n.code != "" { // the dates that are refused are those of the one in store
		names["made"], names["assembled"] = "from", "from"
	}
	return names
}

// firstOf is the first error there is.
func firstOf(errs ...error) error {
	if i := slices.IndexFunc(errs, func(err error) bool { return err != nil }); i >= 0 {
		return errs[i]
	}
	return nil
}
