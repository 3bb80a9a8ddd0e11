package store

import (
	"errors"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// notDamaged refuses an assembly on which damage was found that only its
// removal closed, unless somebody releases it with a reason: nobody judged that
// it may be fitted again.
func (t *tx) notDamaged(a *register.Assembly, c register.Fit) error {
	if c.ReleasedBy != "" && c.Reason != "" {
		return nil
	}
	seen, err := findings.where(t.ctx, t.conn, "assembly_id = ? AND class IN ('stop', 'replace') AND closed_how NOT IN ('released', 'done') AND seen_on <= "+t.e.date(c.On)+
		" ORDER BY seen_on, id LIMIT 1", a.ID)
	if err != nil || len(seen) == 0 {
		return err
	}
	return refuse(register.Refused, "released_by", "Assembly %s: on %s an inspection found damage of class %s, and nobody released it. Do not fit it; a damaged hose is scrapped. "+
		"Only a manager's release with a reason lets it be fitted.", a.Code, seen[0].SeenOn, seen[0].Class)
}

// storedNotTooLong refuses an assembly that was stored beyond its limit, or is
// beyond an age limit or worn out, unless somebody releases it with a reason.
// One of unknown age is taken: its estimate says what is missing.
func (t *tx) storedNotTooLong(a *register.Assembly, s seat, c register.Fit) error {
	if c.ReleasedBy != "" && c.Reason != "" {
		return nil
	}
	in, err := t.lifeBefore(a, s, c)
	if err != nil {
		return err
	}
	if in == nil {
		return nil
	}
	var no *life.FitError
	if !errors.As(life.MayFit(in, c.On), &no) || no.Rule == life.RuleUnknownAge || no.Rule == life.RuleNotInStore {
		return nil
	}
	return refuse(register.Refused, "released_by", "Assembly %s: %s Only a release with a name and a reason lets it be fitted.", a.Code, no.Sentence)
}

// lifeBefore is what package life is told of an assembly up to the day of a
// fitting, held to the policy of the position it comes to: what is certain
// where its facts contradict each other. It is nil where nothing is; the
// estimate will say so.
func (t *tx) lifeBefore(a *register.Assembly, s seat, c register.Fit) (*life.Assembly, error) {
	f, err := t.frame()
	if err != nil {
		return nil, err
	}
	facts := &register.Facts{Sites: f.sites, Policies: f.policies, Duties: f.duties}
	mine := register.AssemblyFacts{Assembly: *a}
	first, err := placements.one(t.ctx, t.conn, "assembly_id = ? AND from_on <= "+t.e.date(c.On)+" LIMIT 1", a.ID)
	if err != nil {
		return nil, err
	}
	if first != nil {
		if facts, err = f.facts(t.ctx, t.conn, []int64{a.ID}); err != nil {
			return nil, err
		}
		mine = facts.Assemblies[0]
		before := mine.Placements[:0:0]
		for _, p := range mine.Placements {
			if !p.From.After(c.On) {
				before = append(before, p)
			}
		}
		mine.Placements = before
	}
	in, err := facts.LifeInput(&mine, c.On)
	if err == nil {
		err = life.Check(in, c.On)
	}
	if err != nil {
		if !aboutFacts(err) {
			return nil, err
		}
		var certain bool
		if in, _, certain = facts.CertainOf(&mine, c.On); !certain {
			return nil, nil
		}
	}
	id := f.sites[s.machine.SiteID].PolicyID
	if s.position.PolicyID != nil {
		id = *s.position.PolicyID
	}
	in.Policy = f.policies[id].Policy
	return &in, nil
}

// aboutFacts reports whether an error is about the facts of an assembly, not
// about the program or the database.
func aboutFacts(err error) bool {
	var refusal *register.Error
	var field *life.FieldError
	return errors.As(err, &refusal) || errors.As(err, &field)
}

// frame is what bears on every estimate, remembered while the transaction
// lasts.
func (t *tx) frame() (*frame, error) {
	if t.keys.frame != nil {
		return t.keys.frame, nil
	}
	f, err := readFrame(t.ctx, t.conn)
	if err == nil {
		t.keys.frame = f
	}
	return f, err
}
