package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"hoseward/internal/register"
)

// TakeWhole takes a whole register into this one, in one transaction. It is
// refused unless this register is empty: kinds of machines and duties that came
// with the program do not count and give way to those of the source. Each row
// must keep the rules that the command which makes such a row keeps, and all
// rows together those of agree.go. A refusal is a *register.Error that says
// where the row stands. What was stored beyond its limit when it was fitted is
// taken: it was released where it was fitted.
func (s *Store) TakeWhole(ctx context.Context, now time.Time, by register.Actor, src register.WholeSource) (register.WholeReport, error) {
	return s.takeWhole(ctx, now, by, src, nil)
}

// errTried takes back a trial that went well.
var errTried = errors.New("a trial keeps nothing")

// TryWhole says what TakeWhole would do, and changes nothing.
func (s *Store) TryWhole(ctx context.Context, now time.Time, by register.Actor, src register.WholeSource) (register.WholeReport, error) {
	report, err := s.takeWhole(ctx, now, by, src, errTried)
	if errors.Is(err, errTried) {
		return report, nil
	}
	return report, err
}

// takeWhole takes the source, and at the end gives up with the error atEnd if
// it is not nil.
func (s *Store) takeWhole(ctx context.Context, now time.Time, by register.Actor, src register.WholeSource, atEnd error) (register.WholeReport, error) {
	var report register.WholeReport
	begun := false
	result, err := s.change(ctx, now, by, func(t *tx) error {
		if begun { // the source is used up
			return refuse(register.Conflict, "", "Someone changed the register meanwhile; try again.")
		}
		begun = true
		t.need = register.RightManage
		w := newWholeTaker(t, src)
		if err := w.take(); err != nil {
			return err
		}
		report.Rows = w.rows
		return atEnd
	})
	if err == nil {
		report.Taken, report.Stale = true, result.Stale
	}
	return report, err
}

// wholeTaker takes one whole register in.
type wholeTaker struct {
	t    *tx
	src  register.WholeSource
	rows map[register.WholePart]int

	part     register.WholePart
	number   int              // of the row at hand
	policies map[string]int64 // ids by folded name

	machines      wholeBatch[register.Machine]
	kindPositions wholeBatch[register.KindPosition]
	duties        wholeBatch[register.Duty]
	circuits      wholeBatch[register.Circuit]
	positions     wholeBatch[register.Position]
	assemblies    wholeBatch[register.Assembly]
	placements    wholeBatch[register.Placement]
	removals      wholeBatch[register.Removal]
	readings      wholeBatch[register.Reading]
	meterEvents   wholeBatch[register.MeterEvent]
	layUps        wholeBatch[register.LayUp]
	conditions    wholeBatch[register.Conditions]
	inspections   wholeBatch[register.Inspection]
	findings      wholeBatch[register.Finding]

	stays      []stay // of the placements held back
	placed     []int  // the numbers of all placements, in the order of their ids
	looked     []int  // likewise of the inspections
	firstLooks int    // inspections that are the first of their assembly and day
	lastCode   int64  // highest number of a code as the register gives them out
}

// stay is what the rules of a placement ask of besides it.
type stay struct {
	assembly *register.Assembly
	seat     seat
	removal  *register.Removal
	number   int
}

func newWholeTaker(t *tx, src register.WholeSource) *wholeTaker {
	w := &wholeTaker{t: t, src: src, rows: map[register.WholePart]int{}, policies: map[string]int64{}}
	w.machines = wholeBatch[register.Machine]{tab: machines, id: func(r *register.Machine) int64 { return r.ID }, taken: "There is a machine of this code already."}
	w.kindPositions = wholeBatch[register.KindPosition]{tab: kindPositions, id: func(r *register.KindPosition) int64 { return r.ID }, taken: "The kind has a position of this name already."}
	w.duties = wholeBatch[register.Duty]{tab: duties, id: func(r *register.Duty) int64 { return r.ID }, taken: "The kind has a duty for this circuit already."}
	w.circuits = wholeBatch[register.Circuit]{tab: circuits, id: func(r *register.Circuit) int64 { return r.ID }, taken: "The machine has a circuit of this name already."}
	w.positions = wholeBatch[register.Position]{tab: positions, id: func(r *register.Position) int64 { return r.ID }, taken: "The machine has a position of this name already."}
	w.assemblies = wholeBatch[register.Assembly]{tab: assemblies, id: func(r *register.Assembly) int64 { return r.ID }, taken: "There is an assembly of this code already.", after: w.keepCodes}
	w.placements = wholeBatch[register.Placement]{tab: placements, id: func(r *register.Placement) int64 { return r.ID }, taken: "Its position or its assembly has a placement without an end already.", after: w.afterPlacements}
	w.removals = wholeBatch[register.Removal]{tab: removals, id: func(r *register.Removal) int64 { return r.ID }}
	w.readings = wholeBatch[register.Reading]{tab: readings, id: func(r *register.Reading) int64 { return r.ID }, taken: "The machine has this reading of that day already."}
	w.meterEvents = wholeBatch[register.MeterEvent]{tab: meterEvents, id: func(r *register.MeterEvent) int64 { return r.ID }}
	w.layUps = wholeBatch[register.LayUp]{tab: layUps, id: func(r *register.LayUp) int64 { return r.ID }}
	w.conditions = wholeBatch[register.Conditions]{tab: conditions, id: func(r *register.Conditions) int64 { return r.ID }}
	w.inspections = wholeBatch[register.Inspection]{tab: inspections, id: func(r *register.Inspection) int64 { return r.ID }}
	w.findings = wholeBatch[register.Finding]{tab: findings, id: func(r *register.Finding) int64 { return r.ID }}
	return w
}

func (w *wholeTaker) take() error {
	if err := w.t.mustBeEmpty(); err != nil {
		return err
	}
	if err := w.t.dropShipped(); err != nil {
		return err
	}
	for {
		if err := w.t.ctx.Err(); err != nil {
			return err
		}
		row, number, err := w.src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if err := w.one(row, number); err != nil {
			return err
		}
	}
	if err := w.endPart(); err != nil {
		return err
	}
	return w.finish()
}

// one takes a row; those of a new part begin once the part before is written.
func (w *wholeTaker) one(row register.WholeRow, number int) error {
	if row.Part() != w.part {
		if err := w.endPart(); err != nil {
			return err
		}
		w.part = row.Part()
	}
	w.number = number
	w.rows[w.part]++
	if err := row.Check(); err != nil {
		return w.at(number, err)
	}
	if err := w.add(row); err != nil {
		return w.at(number, err)
	}
	return w.t.flushFull()
}

// endPart writes what is held back of the part at hand.
func (w *wholeTaker) endPart() error {
	switch w.part {
	case register.PartKindPositions:
		return writeHeld(w, &w.kindPositions)
	case register.PartDuties:
		return writeHeld(w, &w.duties)
	case register.PartMachines:
		return writeHeld(w, &w.machines)
	case register.PartCircuits:
		return writeHeld(w, &w.circuits)
	case register.PartPositions:
		return writeHeld(w, &w.positions)
	case register.PartAssemblies:
		return writeHeld(w, &w.assemblies)
	case register.PartPlacements:
		return writeHeld(w, &w.placements)
	case register.PartReadings:
		return writeHeld(w, &w.readings)
	case register.PartMeterEvents:
		return writeHeld(w, &w.meterEvents)
	case register.PartLayUps:
		return writeHeld(w, &w.layUps)
	case register.PartConditions:
		return writeHeld(w, &w.conditions)
	case register.PartInspections:
		return writeHeld(w, &w.inspections)
	case register.PartFindings:
		return writeHeld(w, &w.findings)
	}
	return nil // the few of the other parts are written one by one
}

// at says where the row stands that a refusal is about. What has its place
// already, and what is no refusal, is left as it is.
func (w *wholeTaker) at(number int, err error) error { return w.atPart(w.part, number, err) }

func (w *wholeTaker) atPart(part register.WholePart, number int, err error) error {
	var r *register.Error
	if !errors.As(err, &r) || strings.HasPrefix(r.Field, wholePlaced) {
		return err
	}
	place := w.src.Place(part, number)
	if r.Field != "" {
		place += ", " + r.Field
	}
	return &register.Error{Code: r.Code, Field: wholePlaced + r.Field, Sentence: place + ": " + r.Sentence}
}

// wholePlaced begins the field of a refusal whose sentence says its place.
const wholePlaced = "whole."

// mustBeEmpty refuses a register that holds anything that did not come with
// the program.
func (t *tx) mustBeEmpty() error {
	for _, c := range []struct{ what, query string }{
		{"sites", "SELECT COUNT(*) FROM sites"},
		{"machines", "SELECT COUNT(*) FROM machines"},
		{"assemblies", "SELECT COUNT(*) FROM assemblies"},
		{"policies of its own", "SELECT COUNT(*) FROM policies WHERE NOT shipped"},
		{"usual positions", "SELECT COUNT(*) FROM kind_positions"},
	} {
		var n int
		if err := t.row(t.ctx, c.query).Scan(&n); err != nil {
			return fmt.Errorf("look whether the register is empty: %w", translate(err))
		}
		if n > 0 {
			return notEmpty(c.what)
		}
	}
	return t.onlyShippedKinds()
}

func notEmpty(what string) error {
	return refuse(register.Refused, "", "A whole register is taken into an empty one only, and this one holds %s already; begin a new register and take it there.", what)
}

func (t *tx) onlyShippedKinds() error {
	shipped := map[string]bool{}
	for _, k := range register.ShippedKinds() {
		shipped[fold(k.Name)] = true
	}
	list, err := kinds.where(t.ctx, t.conn, "")
	if err != nil {
		return err
	}
	for _, k := range list {
		if !shipped[fold(k.Name)] {
			return notEmpty("kinds of machines of its own")
		}
	}
	var n int
	err = t.row(t.ctx, "SELECT COUNT(*) FROM duties WHERE version > 1 OR note <> ?", register.ShippedNote).Scan(&n)
	if err != nil {
		return fmt.Errorf("look whether the register is empty: %w", translate(err))
	}
	if n > 0 {
		return notEmpty("duties of its own")
	}
	return nil
}

// dropShipped makes room for the kinds and duties of the source, which may
// have been changed or taken away there.
func (t *tx) dropShipped() error {
	t.keys.frame = nil
	old, err := duties.where(t.ctx, t.conn, "1 = 1 ORDER BY id")
	if err != nil {
		return err
	}
	for i := range old {
		if err := t.note(duties.name, old[i].ID, register.Deleted, &old[i], nil); err != nil {
			return err
		}
	}
	kept, err := kinds.where(t.ctx, t.conn, "1 = 1 ORDER BY id")
	if err != nil {
		return err
	}
	for i := range kept {
		if err := t.note(kinds.name, kept[i].ID, register.Deleted, &kept[i], nil); err != nil {
			return err
		}
	}
	for _, q := range []string{"DELETE FROM duties", "DELETE FROM kinds"} {
		if _, err := t.exec(t.ctx, q); err != nil {
			return fmt.Errorf("make room for the kinds of machines: %w", err)
		}
	}
	return nil
}
