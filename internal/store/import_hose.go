package store

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// importedList is who released what a list says was fitted.
const importedList = "the imported list"

func (im *importer) hoseRow(h *register.HoseRow) error {
	switch {
	case h.Machine == "" && h.Position == "":
		return im.storedHose(h)
	case h.Machine == "":
		return refuse(register.Invalid, "machine", "The row names a position but no machine.")
	case h.Position == "":
		return refuse(register.Invalid, "position", "The row names a machine but no position.")
	}
	m, err := im.machineOf(h)
	if err != nil {
		return err
	}
	p, err := im.positionOf(m, h)
	if err != nil {
		return err
	}
	if err := im.saidOnPosition(m, p, h.Said); err != nil {
		return err
	}
	if !h.NamesHose() {
		if im.added || h.Removed.IsZero() {
			im.tell("position", "the row says nothing of a hose; only the position is taken")
		}
		return nil
	}
	place, err := im.placeHose(seat{machine: m, position: p}, h)
	if err != nil || place == nil {
		return err
	}
	if err := im.conditionsOf(m, p, place, h); err != nil {
		return err
	}
	if err := im.inspectionsOf(seat{machine: m, position: p}, place, h.Inspections); err != nil {
		return err
	}
	return im.inspectionOf(m, p, place, h)
}

// storedHose is a row without machine and position: an assembly in store.
func (im *importer) storedHose(h *register.HoseRow) error {
	t := im.t
	if h.Code == "" {
		return refuse(register.Invalid, "assembly_code", "The row names neither an assembly nor a machine and position; nothing tells which hose it is.")
	}
	if !h.Fitted.IsZero() || !h.Removed.IsZero() {
		return refuse(register.Invalid, "machine", "The row says when the hose was fitted or removed but not where; name machine and position.")
	}
	earlier := im.seen.note("assembly", h.Code)
	a, err := t.assembly(h.Code)
	if isCode(err, register.NotFound) {
		_, err := im.addAssembly(h)
		return err
	}
	if err != nil {
		return err
	}
	return im.changeAssembly(a, h, h.Site, earlier)
}

// positionOf is the position of a row, added if the machine lacks it.
func (im *importer) positionOf(m *register.Machine, h *register.HoseRow) (*register.Position, error) {
	t := im.t
	if err := im.policyOrNew(h.Policy, h.PolicyLimits); err != nil {
		return nil, err
	}
	earlier := im.seen.note("position", m.Code, h.Position)
	p, err := t.position(m, h.Position)
	if isCode(err, register.NotFound) {
		im.adds("position %s", h.Position)
		add := register.AddPosition{
			Machine: m.Code, Circuit: h.Circuit, Name: h.Position, CanHurt: isYes(h.CanHurt), Exposed: isYes(h.Exposed), Twisted: isYes(h.Twisted),
			Policy: h.Policy, LengthMM: h.PositionMM, BendMM: h.BendMM, StraightMM: h.StraightMM, Note: h.PositionNote,
		}
		setPlain(&add.WalkOrder, h.WalkOrder)
		if err := t.apply(add); err != nil {
			return nil, err
		}
		return t.position(m, h.Position)
	}
	if err != nil {
		return nil, err
	}
	row := *p
	if h.Circuit != "" {
		c, err := t.circuitOrNew(m, h.Circuit)
		if err != nil {
			return nil, err
		}
		row.CircuitID = &c.ID
	}
	if h.Policy != "" {
		policy, err := t.policy(h.Policy)
		if err != nil {
			return nil, err
		}
		row.PolicyID = &policy.ID
	}
	setPlain(&row.WalkOrder, h.WalkOrder)
	setPlain(&row.CanHurt, h.CanHurt)
	setPlain(&row.Exposed, h.Exposed)
	setPlain(&row.Twisted, h.Twisted)
	setValue(&row.LengthMM, h.PositionMM)
	setValue(&row.BendMM, h.BendMM)
	setValue(&row.StraightMM, h.StraightMM)
	setText(&row.Note, h.PositionNote)
	if reflect.DeepEqual(row, *p) {
		return p, nil
	}
	if earlier > 0 {
		return nil, im.contradicts(earlier, fmt.Sprintf("position %s of machine %s", p.Name, m.Code), *p, row)
	}
	im.changes("position %s", h.Position)
	if err := t.apply(register.ChangePosition{Position: row}); err != nil {
		return nil, err
	}
	return t.position(m, h.Position)
}

func isYes(b *bool) bool { return b != nil && *b }

// guessedFit is the earliest day a hose without fit date can have been fitted.
func guessedFit(h *register.HoseRow) (quantity.Date, string) {
	switch {
	case !h.Assembled.IsZero():
		return h.Assembled.Start(), "assembled"
	case !h.Made.IsZero():
		return h.Made.Start(), "made"
	}
	return quantity.Date{}, ""
}

// merged is what is known of an assembly with what the row says. A rating that
// was a table's for another type or size goes with that.
func merged(a register.Assembly, h *register.HoseRow) register.Assembly {
	if a.RatingSource == register.RatingTable && otherType(&a, h) {
		a.RatedBar, a.RatingSource = nil, ""
	}
	for _, f := range []struct {
		to   *string
		from string
	}{
		{&a.Layline, h.Layline},
		{&a.Maker, h.Maker},
		{&a.Designation, h.Designation},
		{&a.Construction, h.Construction},
		{&a.Tube, h.Tube},
		{&a.Fluid, h.Fluid},
		{&a.EndA, h.EndA},
		{&a.EndB, h.EndB},
		{&a.EndMake, h.EndMake},
		{&a.Note, h.Note},
	} {
		setText(f.to, f.from)
	}
	if !h.Size.IsZero() {
		a.DN, a.Dash = h.Size.DN, h.Size.Dash
	}
	// A table's value never replaces one that was read or typed.
	if h.RatedBar != nil && (h.RatingSource != register.RatingTable || a.RatedBar == nil || a.RatingSource == register.RatingTable) {
		a.RatedBar, a.RatingSource = h.RatedBar, h.RatingSource
	}
	setValue(&a.MaxC, h.MaxC)
	setValue(&a.LengthMM, h.LengthMM)
	setValue(&a.EndABar, h.EndABar)
	setValue(&a.EndBBar, h.EndBBar)
	if !h.Made.IsZero() {
		a.Made, a.MadeAmbiguous = h.Made, isYes(h.MadeAmbiguous)
	}
	setText(&a.MadeText, h.MadeText)
	if !h.Assembled.IsZero() {
		a.Assembled = h.Assembled
	}
	setText(&a.AssembledText, h.AssembledText)
	setPlain(&a.Unconfirmed, h.Unconfirmed)
	return a
}

// addAssembly adds the assembly of a row to the store of its site.
func (im *importer) addAssembly(h *register.HoseRow) (*register.Assembly, error) {
	t := im.t
	site, err := im.siteFor(orElse(h.KeptAt, h.Site), nil)
	if err != nil {
		return nil, err
	}
	a := merged(register.Assembly{Code: h.Code}, h)
	if err := t.apply(register.AddAssembly{Site: site.Name, Assembly: a}); err != nil {
		return nil, err
	}
	code := t.codes[len(t.codes)-1]
	if h.Code == "" {
		im.nameMadeUp(code)
	}
	im.adds("assembly %s", code)
	im.seen.note("assembly", code)
	return t.assembly(code)
}

// changeAssembly brings an assembly to what the row says.
func (im *importer) changeAssembly(a *register.Assembly, h *register.HoseRow, keptAt string, earlier int) error {
	row := merged(*a, h)
	if h.KeptAt != "" {
		keptAt = h.KeptAt
	}
	if keptAt != "" {
		site, err := im.siteFor(keptAt, nil)
		if err != nil {
			return err
		}
		row.SiteID = site.ID
	}
	if reflect.DeepEqual(row, *a) {
		return nil
	}
	if earlier > 0 {
		return im.contradicts(earlier, im.sitting(a.Code, h), *a, row)
	}
	im.changes("assembly %s", a.Code)
	return im.t.apply(register.ChangeAssembly{Assembly: row})
}

// placeHose brings the placement of a row's hose into the register and gives
// it as it is then.
func (im *importer) placeHose(s seat, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	if err := t.lockMachine(s.machine); err != nil {
		return nil, err
	}
	var a *register.Assembly
	if h.Code != "" {
		var err error
		if a, err = t.assembly(h.Code); err != nil && !isCode(err, register.NotFound) {
			return nil, err
		}
	}
	sat, err := placements.where(t.ctx, t.conn, "position_id = ? ORDER BY from_on, id", s.position.ID)
	if err != nil {
		return nil, err
	}
	known, err := im.matchPlacement(sat, a, h)
	if err != nil {
		return nil, err
	}
	if known == nil {
		return im.newPlacement(s, a, sat, h)
	}
	if a == nil {
		if a, err = assemblies.one(t.ctx, t.conn, "id = ?", known.AssemblyID); err != nil {
			return nil, err
		}
	}
	known, err = im.changeDays(s, merged(*a, h), known, h)
	if err != nil {
		return nil, err
	}
	earlier := im.seen.note("assembly", a.Code)
	if err := im.changeAssembly(a, h, "", earlier); err != nil {
		return nil, err
	}
	return im.changeEnd(a.Code, known, h)
}

// matchPlacement finds the placement a row speaks of: that of its assembly, or
// without a code the one that began on its fit date. A row without either
// speaks of what sits there now, if that can be the same hose.
func (im *importer) matchPlacement(sat []register.Placement, a *register.Assembly, h *register.HoseRow) (*register.Placement, error) {
	fitted := h.Fitted.Start()
	for i := range sat {
		p := &sat[i]
		mine := a != nil && p.AssemblyID == a.ID || h.Code == ""
		if mine && !fitted.IsZero() && p.From == fitted {
			return p, nil
		}
	}
	for i := len(sat) - 1; i >= 0; i-- {
		p := &sat[i]
		switch {
		case a != nil && p.AssemblyID == a.ID:
			// The code tells which hose it is: the date is a better one for
			// the same stay, unless it can only be another stay.
			if fitted.IsZero() || sameStay(sat[:i], p, h) {
				return p, nil
			}
		case h.Code == "" && fitted.IsZero() && (p.To.IsZero() || p.To == h.Removed):
			there, err := assemblies.one(im.t.ctx, im.t.conn, "id = ?", p.AssemblyID)
			if err != nil || there != nil && !otherThan(there, h) {
				return p, err
			}
		}
	}
	return nil, nil
}

// sameStay reports whether a row with another fit date can mean the stay p.
func sameStay(before []register.Placement, p *register.Placement, h *register.HoseRow) bool {
	if !p.To.IsZero() {
		return p.To == h.Removed
	}
	return (h.Removed.IsZero() || h.Removed.After(p.From)) && !overtaken(before, p.AssemblyID, h.Fitted.Start())
}

// otherThan reports whether what a row says of its hose contradicts what is
// known of an assembly.
func otherThan(a *register.Assembly, h *register.HoseRow) bool {
	apart := func(p, q quantity.Period) bool {
		return !p.IsZero() && !q.IsZero() && (p.To.Before(q.From) || q.To.Before(p.From))
	}
	return apart(a.Made, h.Made) || apart(a.Assembled, h.Assembled) || otherType(a, h)
}

// otherType reports whether a row names another designation or size than is
// known of an assembly. A designation may be spelled in many ways.
func otherType(a *register.Assembly, h *register.HoseRow) bool {
	switch {
	case a.DN != 0 && h.Size.DN != 0 && a.DN != h.Size.DN, a.Dash != 0 && h.Size.Dash != 0 && a.Dash != h.Size.Dash:
		return true
	case a.Designation == "" || h.Designation == "" || fold(a.Designation) == fold(h.Designation):
		return false
	}
	known, err1 := hose.ParseDesignation(a.Designation)
	said, err2 := hose.ParseDesignation(h.Designation)
	return err1 != nil || err2 != nil || known != said
}

// overtaken reports whether a fit date lies inside an earlier stay.
func overtaken(before []register.Placement, assemblyID int64, fitted quantity.Date) bool {
	for _, p := range before {
		if p.AssemblyID == assemblyID && fitted.Before(p.To) {
			return true
		}
	}
	return false
}

// newPlacement fits the row's hose where the register has none for it.
func (im *importer) newPlacement(s seat, a *register.Assembly, sat []register.Placement, h *register.HoseRow) (*register.Placement, error) {
	if h.Fitted.IsZero() {
		day, from := guessedFit(h)
		if day.IsZero() {
			return nil, refuse(register.Invalid, "on", "The row has no fit date, and no date the hose was made either; give one of them.")
		}
		im.tell("position", "no fit date is given; the day it was %s, %s, is taken, since it cannot be earlier", from, day)
		h.Fitted, h.FittedText = quantity.Day(day), "not known, "+from+" "+day.String()
	}
	on := h.Fitted.Start()
	for i := range sat {
		p := &sat[i]
		if (p.To.IsZero() || p.To.After(on)) && (h.Removed.IsZero() || p.From.Before(h.Removed)) {
			return im.otherHose(s, a, sat, i, h)
		}
	}
	return im.fitHose(s, a, h)
}

// fitHose adds the assembly if it is new, fits it, and takes it off again
// where the row says when.
func (im *importer) fitHose(s seat, a *register.Assembly, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	var err error
	if a == nil {
		if h.Site == "" && h.KeptAt == "" { // it is kept where its machine is
			site, err := sites.one(t.ctx, t.conn, "id = ?", s.machine.SiteID)
			if err != nil {
				return nil, err
			}
			h.Site = site.Name
		}
		a, err = im.addAssembly(h)
	} else {
		err = im.changeAssembly(a, h, "", im.seen.note("assembly", a.Code))
	}
	if err != nil {
		return nil, err
	}
	fit := register.Fit{AssemblyCode: a.Code, Machine: s.machine.Code, Position: s.position.Name, On: h.Fitted.Start(), Hours: h.FittedHours, OnText: h.FittedText}
	cmds := []register.Command{fit}
	if !h.Removed.IsZero() {
		remove, err := t.removal(a.Code, h)
		if err != nil {
			return nil, err
		}
		cmds = append(cmds, remove)
	}
	err = t.apply(cmds...)
	if no := refusalOf(err, "released_by"); no != nil {
		// What a list says was fitted was fitted: it is taken, and told.
		im.tell("fitted", "%s", tooOldWhenFitted(no.Sentence))
		fit.ReleasedBy, fit.Reason = importedList, "fitted as the list says"
		cmds[0] = fit
		err = t.apply(cmds...)
	}
	if err != nil {
		return nil, err
	}
	im.did = slices.DeleteFunc(im.did, func(did string) bool { return did == "adds assembly "+a.Code }) // said by the next one
	im.adds("assembly %s at %s from %s", a.Code, s, fit.On)
	if !h.Removed.IsZero() && h.KeptAt != "" {
		if err := im.keptElsewhere(a.Code, h); err != nil {
			return nil, err
		}
	}
	p, err := placements.one(t.ctx, t.conn, "position_id = ? AND assembly_id = ? AND from_on = "+t.e.date(fit.On), s.position.ID, a.ID)
	if err == nil && p != nil {
		im.seen.note("placement", fmt.Sprint(p.ID))
	}
	return p, err
}

// tooOldWhenFitted words the refusal to fit a hose for one that was fitted.
func tooOldWhenFitted(refusal string) string {
	if _, rest, ok := strings.Cut(refusal, ": "); ok {
		refusal = rest
	}
	refusal, _, _ = strings.Cut(refusal, "; do not fit it")
	was := "It was too old when it was fitted"
	if strings.HasPrefix(refusal, "A finding") {
		was = "It should not have been fitted"
	}
	return fmt.Sprintf("%s (%s); it is taken as the list says. Look at it and plan its replacement.", was, strings.ToLower(refusal[:1])+refusal[1:])
}

func refusalOf(err error, field string) *register.Error {
	no, ok := err.(*register.Error)
	if ok && no.Code == register.Refused && no.Field == field {
		return no
	}
	return nil
}

func (im *importer) keptElsewhere(code string, h *register.HoseRow) error {
	a, err := im.t.assembly(code)
	if err != nil {
		return err
	}
	site, err := im.siteFor(h.KeptAt, nil)
	if err != nil || a.SiteID == site.ID {
		return err
	}
	row := *a
	row.SiteID = site.ID
	return im.t.apply(register.ChangeAssembly{Assembly: row})
}
