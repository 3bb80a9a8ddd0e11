package store

import (
	"fmt"
	"strings"

	"hoseward/internal/register"
)

// milder lets f make a rule milder, if what, which begins the sentence that asks
// for a reason, says that it does: that needs a manager and a reason.
func (t *tx) milder(reason, what string, f func() error) error {
	if what == "" {
		return f()
	}
	defer t.needing(register.RightManage)()
	mine, err := t.myRoles()
	if err != nil {
		return err
	}
	if mine.Anywhere(register.RightManage) && strings.TrimSpace(reason) == "" {
		return refuse(register.Invalid, "reason", "%s: say why.", what)
	}
	return t.noteReason("", reason, f)
}

// milderPolicy says that a policy may be milder than another, to begin a
// sentence with; empty where it is not.
func (t *tx) milderPolicy(from, to int64) (string, error) {
	if from == to {
		return "", nil
	}
	frame, err := t.frame()
	if err != nil {
		return "", err
	}
	before, after := frame.policies[from], frame.policies[to]
	if register.MilderPolicy(&after, &before) == "" {
		return "", nil
	}
	return fmt.Sprintf("Policy %s may let a hose stay longer than %s", after.Name, before.Name), nil
}

// heldTo is the policy that holds at a position of a machine: its own, else
// that of the site.
func (t *tx) heldTo(machineID int64, own *int64) (int64, error) {
	if own != nil {
		return *own, nil
	}
	at, err := t.ofMachine(machineID)
	if err != nil {
		return 0, err
	}
	frame, err := t.frame()
	if err != nil {
		return 0, err
	}
	return frame.sites[at.site].PolicyID, nil
}

// milderThere says that a position's own policy would be milder than what held
// there before; empty where it is not.
func (t *tx) milderThere(machineID int64, before, after *int64) (string, error) {
	from, err := t.heldTo(machineID, before)
	if err != nil {
		return "", err
	}
	to, err := t.heldTo(machineID, after)
	if err != nil {
		return "", err
	}
	return t.milderPolicy(from, to)
}

// repolicied lets f change the policy of a position's own.
func (t *tx) repolicied(machineID int64, before, after *int64, reason string, f func() error) error {
	what, err := t.milderThere(machineID, before, after)
	if err != nil {
		return err
	}
	return t.milder(reason, what, f)
}
