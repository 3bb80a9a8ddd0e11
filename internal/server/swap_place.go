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

// place is a position with what it asks of a hose.
type place struct {
	sheet    register.MachineSheet
	position string
	old      *register.AssemblySheet // what sits there; nil if nothing does
	like     *register.AssemblySheet // what sits there or sat there last; nil if nothing did
	lengthMM *float64                // of the position
	service  []register.ServiceValue // how it is worked today
	policy   register.Policy         // that a hose there is held to
	style    web.Style               // of the person who asks
}

// placeOf is a position of a machine; a *register.Error of code NotFound if
// there is none of that name.
func (s *Server) placeOf(c echo.Context, sheet register.MachineSheet, position string, st web.Style) (place, error) {
	ctx := c.Request().Context()
	p := place{sheet: sheet, position: position, style: st}
	at, err := s.store(c).PositionSheet(ctx, s.deps.Now(), sheet.Machine.Code, position)
	if err != nil {
		return p, wrap("find position", err)
	}
	p.position, p.lengthMM, p.service = at.Position.Name, at.Position.LengthMM, at.Service
	policies, err := s.store(c).Policies(ctx)
	if err != nil {
		return p, wrap("list policies", err)
	}
	id := sheet.Site.PolicyID
	if at.Position.PolicyID != nil {
		id = *at.Position.PolicyID
	}
	if i := slices.IndexFunc(policies, func(v register.Policy) bool { return v.ID == id }); i >= 0 {
		p.policy = policies[i]
	}
	code := ""
	switch {
	case at.Line != nil:
		code = at.Line.AssemblyCode
	case len(at.Placements) > 0:
		code = lastPlacement(at.Placements).AssemblyCode
	}
	if code == "" {
		return p, nil
	}
	like, err := s.store(c).AssemblySheet(ctx, s.deps.Now(), code)
	if err != nil {
		return p, wrap("find what sits at the position", err)
	}
	p.like = &like
	if at.Line != nil {
		p.old = &like
	}
	return p, nil
}

// lastPlacement is the one that began last.
func lastPlacement(all []register.PlacementSheet) register.PlacementSheet {
	return slices.MaxFunc(all, func(a, b register.PlacementSheet) int { return a.Placement.From.Compare(b.Placement.From) })
}

// oldCode is the code of what sits there, empty if nothing does.
func (p place) oldCode() string {
	if p.old == nil {
		return ""
	}
	return p.old.Assembly.Code
}

// length is the length a hose there must have: that of the position, else of
// the one that sits or sat there; nil if neither is known.
func (p place) length() *float64 {
	if p.lengthMM != nil || p.like == nil {
		return p.lengthMM
	}
	return p.like.Assembly.LengthMM
}

// size is the size a hose there must have, zero if it is not known.
func (p place) size() hose.Size {
	if p.like == nil {
		return hose.Size{}
	}
	return hose.Size{DN: p.like.Assembly.DN, Dash: p.like.Assembly.Dash}.Complete()
}

// needBar is the highest pressure the position is known to work at today, nil
// if none is: what is said of the position, whatever hose sits or sat there.
func (p place) needBar() *float64 {
	var need *float64
	higher := func(bar *float64) {
		if bar != nil && (need == nil || *bar > *need) {
			need = bar
		}
	}
	for _, v := range p.service {
		higher(v.Said.WorkingBar)
		for i := range v.Said.Cycles {
			higher(&v.Said.Cycles[i].MaxBar)
		}
	}
	return need
}

// ratingOf is the rating of an assembly: the lowest known of its parts.
func ratingOf(a register.Assembly) hose.AssemblyRating {
	return hose.Rating(hose.Part{Name: "hose", Bar: a.RatedBar}, hose.Part{Name: "end A", Bar: a.EndABar}, hose.Part{Name: "end B", Bar: a.EndBBar})
}

// lengthDiffers reports whether a hose is longer or shorter than what the
// position asks for by more than the tolerance of DIN 20066
// (hose.LengthTolerance), or by 1 % where that gives none. The old hose may
// itself be off by its tolerance, so it is not taken strictly.
func lengthDiffers(is, asked float64, size hose.Size) bool {
	over, under := asked*0.01, asked*0.01
	if t, err := hose.LengthTolerance(quantity.Length(asked), size); err == nil {
		over, under = float64(t.Longer), float64(t.Shorter)
	}
	return is > asked+over || is < asked-under
}

// checks say what a fitter must see before the new hose goes on: what is
// different from what the position asks, what is not known, what is too old.
func (p place) checks(a register.Assembly, on quantity.Date) []string {
	var out []string
	say := func(words ...string) { out = append(out, strings.Join(words, "")) }
	p.checkRating(a, say)
	size := hose.Size{DN: a.DN, Dash: a.Dash}.Complete()
	switch asked := p.size(); {
	case size.IsZero() && !asked.IsZero():
		say("The size of the new hose is not known; ", asked.String(), " was here. Read it from the hose.")
	case !asked.IsZero() && size != asked:
		say("The size differs: the new hose is ", size.String(), ", ", asked.String(), " was here. Another bore changes speed, heat and pressure; fit it only if the circuit diagram allows it.")
	}
	if asked := p.length(); asked != nil && a.LengthMM != nil && lengthDiffers(*a.LengthMM, *asked, size) {
		say("The length differs: the new hose is ", p.style.MM(a.LengthMM), ", ", p.style.MM(asked), " belongs here. Too short it is pulled, too long it chafes. ", hose.LengthChangeNote)
	}
	if p.like != nil {
		if was := p.like.Assembly.Designation; was != "" && a.Designation != "" && !strings.EqualFold(was, a.Designation) {
			say("The designation differs: ", a.Designation, " in place of ", was, ".")
		}
		p.checkEnds(a, say)
	}
	p.checkAge(a, on, say)
	return out
}

func (p place) checkRating(a register.Assembly, say func(...string)) {
	rating, need := ratingOf(a).Bar, p.needBar()
	var was *float64
	if p.like != nil {
		was = ratingOf(p.like.Assembly).Bar
	}
	switch {
	case rating == nil && need != nil:
		say("The rating of the new hose is not known; here it works at up to ", p.style.Bar(need), ". Read the rating from hose and ends before you fit it.")
	case rating == nil:
		say("The rating of the new hose is not known. Read it from hose and ends before you fit it.")
	case need != nil && *rating < *need:
		say("The rating is too low: the new hose has ", p.style.Rated(rating), ", here it works at up to ", p.style.Bar(need), ". Do not fit it.")
	case was != nil && *rating < *was && !hose.SameRating(*rating, *was):
		say("The rating is lower than before: ", p.style.Rated(rating), " in place of ", p.style.Rated(was), ". Make sure that it is enough for this circuit.")
	}
}

func (p place) checkEnds(a register.Assembly, say func(...string)) {
	old := p.like.Assembly
	same := func(x, y string) bool { return x == "" || y == "" || strings.EqualFold(x, y) }
	if same(a.EndA, old.EndA) && same(a.EndB, old.EndB) || same(a.EndA, old.EndB) && same(a.EndB, old.EndA) {
		return
	}
	say("The ends differ: ", web.Or(a.EndA, web.Unknown), " and ", web.Or(a.EndB, web.Unknown), " in place of ", web.Or(old.EndA, web.Unknown), " and ", web.Or(old.EndB, web.Unknown), ". Threads that look alike may not fit; never force them.")
}

func (p place) checkAge(a register.Assembly, on quantity.Date, say func(...string)) {
	made, assembled := a.Made.Start(), a.Assembled.Start()
	if made.IsZero() && assembled.IsZero() {
		say("Neither the hose's make date nor that of the assembly is known, so it counts as 48 months older than its fitting. Read hose and ferrule.")
	}
	from := assembled
	if from.IsZero() {
		from = made
	}
	if limit := p.policy.HoseAgeMonths; limit != nil && !made.IsZero() && made.AddMonths(*limit).Before(from) {
		from = made.AddMonths(*limit)
		say("The hose was more than ", web.Count(*limit, "month", "months"), " old when it was assembled; a newer stamp makes it no younger, so its age counts from ", p.style.Date(from), ".")
	}
	limit := p.policy.MonthsFromAssembly
	if limit == nil || from.IsZero() || on.IsZero() {
		return
	}
	if end := from.AddMonths(*limit); end.Sub(on) < 365 {
		say("It is old for a new one: by its age it is to be replaced by ", p.style.Date(end), " at the latest.")
	}
}
