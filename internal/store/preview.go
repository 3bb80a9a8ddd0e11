package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

const (
	// previewed bounds the assemblies a preview works out, so that it answers and
	// lets other writers in again within a second; of more it takes an
	// evenly spread sample.
	previewed = 2000
	// previewMoves is how many moves a preview tells one by one.
	previewMoves = 50
)

// errPreviewed undoes a preview that went well.
var errPreviewed = errors.New("a preview keeps nothing")

// Preview says what commands would do to the dates of what is installed, and
// keeps nothing of it. It tells exactly what applying them and making the
// estimates anew gives, against the estimates as they are stored. A refusal is
// that of Apply. Other changes wait meanwhile.
func (s *Store) Preview(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Preview, error) {
	var p register.Preview
	err := s.inTx(ctx, func(c conn) error {
		t := &tx{conn: c, ctx: ctx, s: s, orm: s.ormOn(ctx, c), now: now.UTC().Truncate(time.Microsecond), by: by}
		t.keys.clear()
		t.title = register.Title(cmds...)
		if err := t.apply(cmds...); err != nil {
			return err
		}
		var err error
		if p, err = t.foresee(); err != nil {
			return err
		}
		return errPreviewed
	})
	if errors.Is(err, errPreviewed) {
		err = nil
	}
	return p, err
}

// foresee compares the estimates as they are stored with those that what the
// transaction did would give.
func (t *tx) foresee() (register.Preview, error) {
	list, err := t.installedTouched()
	if err != nil {
		return register.Preview{}, err
	}
	p := register.Preview{Touched: len(list)}
	list = spread(list, previewed)
	p.Seen = len(list)
	was, err := t.s.For(register.AllSites()).days(t.ctx, t.now)
	if err != nil {
		return p, err
	}
	f, err := readFrame(t.ctx, t.conn)
	if err != nil {
		return p, err
	}
	today := f.today(t.now)
	var moves []move
	for chunk := range slices.Chunk(list, batch) {
		before, err := storedEstimates(t.ctx, t.s.reader(), chunk)
		if err != nil {
			return p, err
		}
		facts, err := f.facts(t.ctx, t.conn, chunk)
		if err != nil {
			return p, err
		}
		for _, after := range register.Reestimate(facts, today) {
			b := before[after.AssemblyID]
			m := moveOf(&b, &after, was.today[b.SiteID], today(after.SiteID))
			m.count(&p, &b, &after)
			if m.moves() {
				moves = append(moves, m)
			}
		}
		moves = largest(moves)
	}
	p.Moves, err = t.namedMoves(moves)
	return p, err
}

// spread takes at most so many of a list, evenly spread over it.
func spread(list []int64, most int) []int64 {
	if len(list) <= most {
		return list
	}
	out := make([]int64, most)
	for i := range out {
		out[i] = list[i*len(list)/most]
	}
	return out
}

// storedEstimates are the estimates of some assemblies as they are stored.
func storedEstimates(ctx context.Context, c conn, of []int64) (map[int64]register.Estimate, error) {
	out := make(map[int64]register.Estimate, len(of))
	err := estimates.each(ctx, c, "assembly_id IN ("+idList(of)+")", nil, func(e *register.Estimate) error {
		out[e.AssemblyID] = *e
		return nil
	})
	return out, err
}

// move is one date before and after.
type move struct {
	register.Move
	assemblyID int64
}

// moveOf compares two estimates of one assembly. What has no estimate yet was
// fitted by the commands: it has neither date nor status before.
func moveOf(before, after *register.Estimate, was, today quantity.Date) move {
	m := move{assemblyID: after.AssemblyID, Move: register.Move{
		Before: before.ActBy, After: after.ActBy,
		StatusAfter:     life.StatusOn(after.StopOpen, after.ActBy, today),
		GoverningBefore: before.Governing, GoverningAfter: after.Governing,
	}}
	if before.AssemblyID != 0 {
		m.StatusBefore = life.StatusOn(before.StopOpen, before.ActBy, was)
	}
	return m
}

// moves reports whether there is anything to tell.
func (m *move) moves() bool { return m.Before != m.After || m.StatusBefore != m.StatusAfter }

// count counts a move. No date counts as later than any.
func (m *move) count(p *register.Preview, before, after *register.Estimate) {
	switch c := m.far(m.After) - m.far(m.Before); {
	case c < 0:
		p.Earlier++
	case c > 0:
		p.Later++
	default:
		p.Same++
	}
	had := before.Complete && !before.ActBy.IsZero()
	if !had && after.Complete && !after.ActBy.IsZero() {
		p.Gained++
	}
	if before.Complete && !after.Complete {
		p.Lost++
	}
	if pressing(m.StatusAfter) && !pressing(m.StatusBefore) {
		p.Overdue++
	}
}

// far is a day as a number, that of the last day there is for none.
func (m *move) far(d quantity.Date) int {
	if d.IsZero() {
		d = quantity.MaxDate
	}
	return d.Sub(quantity.MinDate)
}

func pressing(s life.Status) bool { return s == life.StatusStop || s == life.StatusOverdue }

// size is how many days a date moves.
func (m *move) size() int {
	n := m.far(m.After) - m.far(m.Before)
	return max(n, -n)
}

// largest are the largest moves, largest first.
func largest(moves []move) []move {
	slices.SortFunc(moves, func(x, y move) int {
		return cmp.Or(cmp.Compare(y.size(), x.size()), cmp.Compare(x.assemblyID, y.assemblyID))
	})
	return moves[:min(len(moves), previewMoves)]
}

// namedMoves fills in where the assemblies sit.
func (t *tx) namedMoves(moves []move) ([]register.Move, error) {
	if len(moves) == 0 {
		return nil, nil
	}
	mine, err := t.myRoles()
	if err != nil {
		return nil, err
	}
	at := make(map[int64]*move, len(moves))
	list := make([]int64, len(moves))
	for i := range moves {
		list[i], at[moves[i].assemblyID] = moves[i].assemblyID, &moves[i]
	}
	rows, err := t.query(t.ctx, `SELECT a.id, a.code, m.code, q.name, m.site_id FROM assemblies a
		JOIN placements p ON p.assembly_id = a.id AND p.to_on IS NULL JOIN positions q ON q.id = p.position_id
		JOIN machines m ON m.id = q.machine_id WHERE a.id IN (`+idList(list)+")")
	if err != nil {
		return nil, fmt.Errorf("name what moves: %w", translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var id, site int64
		var assembly, machine, position string
		if err := rows.Scan(&id, &assembly, &machine, &position, &site); err != nil {
			return nil, fmt.Errorf("name what moves: %w", err)
		}
		m := at[id]
		if !mine.At(site, register.RightSee) { // it was on a machine of theirs and is elsewhere now
			continue
		}
		m.AssemblyCode, m.Machine, m.Position = assembly, machine, position
	}
	var out []register.Move
	for i := range moves {
		if moves[i].AssemblyCode != "" {
			out = append(out, moves[i].Move)
		}
	}
	return out, translate(rows.Err())
}
