package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Apply carries out the commands in order, all of them or none, and estimates
// anew what they touch. A refusal is a *register.Error.
//
// A Fit that lies before another fitting at its position is taken only if the
// Remove that ends it comes later in the same list.
func (s *Store) Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error) {
	return s.change(ctx, now, by, func(t *tx) error {
		t.title = register.Title(cmds...)
		if err := t.tellOfWhat(cmds); err != nil {
			return err
		}
		return t.apply(cmds...)
	})
}

// apply carries out commands within a transaction.
func (t *tx) apply(cmds ...register.Command) error {
	_, err := t.applyAll(cmds)
	return err
}

// applyAll is apply; at is the number of the command that was refused, counted
// from 0, and below 0 if it was none of them.
func (t *tx) applyAll(cmds []register.Command) (at int, err error) {
	t.justAdded, t.ahead = "", nil
	for i, c := range cmds {
		if err := c.Check(); err != nil {
			return i, err
		}
	}
	for i, c := range cmds {
		if err := t.one(c, cmds[i+1:]); err != nil {
			return i, err
		}
		if err := t.flushFull(); err != nil {
			return -1, err
		}
	}
	return -1, nil
}

// one carries out a command; rest are those that follow it.
func (t *tx) one(c register.Command, rest []register.Command) error {
	defer t.needing(register.RightFor(c))()
	if err := t.mayBegin(c); err != nil {
		return err
	}
	switch c := c.(type) {
	case register.AddSite:
		return t.addSite(c)
	case register.AddKind:
		return t.addKind(c)
	case register.SetDuty:
		return t.setDuty(c)
	case register.AddPolicy:
		return t.addPolicy(c)
	case register.AddMachine:
		return t.addMachine(c)
	case register.ChangeMachine:
		return t.changeMachine(c)
	case register.AddPosition:
		return t.addPosition(c)
	case register.ChangePosition:
		return t.changePosition(c)
	case register.AddAssembly:
		return t.addAssembly(c)
	case register.ChangeAssembly:
		return t.changeAssembly(c)
	case register.Fit:
		return t.fit(c, rest)
	case register.Remove:
		return t.remove(c)
	case register.AddReading:
		return t.addReading(c)
	case register.AddMeterEvent:
		return t.addMeterEvent(c)
	case register.AddLayUp:
		return t.addLayUp(c)
	case register.SetConditions:
		return t.setConditions(c)
	case register.Inspect:
		return t.inspect(c)
	case register.CloseFinding:
		return t.closeFinding(c)
	case register.Scrap:
		return t.scrap(c)
	case register.ChangePlacement:
		return t.changePlacement(c)
	case register.ChangeReading:
		return t.changeReading(c)
	case register.ChangeMeterEvent:
		return t.changeMeterEvent(c)
	case register.ChangeLayUp:
		return t.changeLayUp(c)
	case register.ChangeConditions:
		return t.changeConditions(c)
	case register.ChangeInspection:
		return t.changeInspection(c)
	case register.ChangeFinding:
		return t.changeFinding(c)
	case register.TakeBack:
		return t.takeBack(c)
	}
	if done, err := t.changePeople(c); done {
		return err
	}
	return t.onePlace(c)
}

// onePlace carries out a command that changes places, or many of them, or what
// a person keeps.
func (t *tx) onePlace(c register.Command) error {
	switch c := c.(type) {
	case register.ChangeSite:
		return t.changeSite(c)
	case register.ChangeKind:
		return t.changeKind(c)
	case register.AddKindPosition:
		return t.addKindPosition(c)
	case register.ChangeKindPosition:
		return t.changeKindPosition(c)
	case register.TakeUsual:
		return t.takeUsual(c)
	case register.CopyPositions:
		return t.copyPositions(c)
	case register.ChangePolicy:
		return t.changePolicy(c)
	case register.AddCircuit:
		return t.addCircuit(c)
	case register.ChangeCircuit:
		return t.changeCircuit(c)
	case register.OrderPositions:
		return t.orderPositions(c)
	case register.ChangePositions:
		return t.changePositions(c)
	case register.ChangeMachines:
		return t.changeMachines(c)
	case register.SetConditionsAt:
		return t.setConditionsAt(c)
	case register.RetireMachine:
		return t.retireMachine(c)
	case register.RetirePosition:
		return t.retirePosition(c)
	case register.SetUnits:
		return t.setUnits(c)
	case register.SaveList:
		return t.saveList(c)
	case register.ForgetList:
		return t.forgetList(c)
	}
	return fmt.Errorf("apply %T: no such command", c)
}

// notAhead refuses a day after today at a site.
func (t *tx) notAhead(siteID int64, field string, on quantity.Date) error {
	today, err := t.today(siteID)
	if err == nil && on.After(today) {
		err = refuse(register.Invalid, field, "%s lies ahead; today is %s. Give the day it happened.", on, today)
	}
	return err
}

// isCode reports whether err is a refusal of that code.
func isCode(err error, code register.Code) bool {
	return errors.Is(err, &register.Error{Code: code})
}

func orElse(s, other string) string {
	if strings.TrimSpace(s) == "" {
		return other
	}
	return s
}

// normalDemand is the policy of whatever names none.
func normalDemand() string { return life.NormalDemand().Name }
