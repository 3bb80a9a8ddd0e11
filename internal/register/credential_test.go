package register_test

import (
	"strings"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func TestTryWait_DoublesFromTheFifth(t *testing.T) {
	last := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		why   string
		tries int
		after time.Duration // since the last try
		want  time.Duration
	}{
		{"nobody tried", 0, 0, 0},
		{"four wrong ones are slips", 4, 0, 0},
		{"the fifth costs half a minute", 5, 0, 30 * time.Second},
		{"which passes", 5, 10 * time.Second, 20 * time.Second},
		{"and is over", 5, 30 * time.Second, 0},
		{"the sixth costs a minute", 6, 0, time.Minute},
		{"the ninth eight minutes", 9, 0, 8 * time.Minute},
		{"the tenth a quarter of an hour, and not sixteen minutes", 10, 0, 15 * time.Minute},
		{"never more", 49, 0, 15 * time.Minute},
		{"no number makes it wrap round", 1 << 40, 0, 15 * time.Minute},
		{"a clock set back locks nobody out", 9, -time.Hour, 0},
		{"one set forward frees", 9, 366 * 24 * time.Hour, 0},
	} {
		if got := register.TryWait(c.tries, last, last.Add(c.after)); got != c.want {
			t.Errorf("%s: %s, want %s", c.why, got, c.want)
		}
	}
	if register.TriesLocked(49) || !register.TriesLocked(50) || !register.TriesLocked(51) {
		t.Error("the fiftieth wrong password in a row locks, and no earlier one")
	}
}

func TestGood_UntilTheEndAndNotAtIt(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	before, after := now.Add(-time.Second), now.Add(time.Second)
	for _, c := range []struct {
		why       string
		got, want bool
	}{
		{"a token before its end", (&register.Token{EndsAt: after}).Good(now), true},
		{"at its end", (&register.Token{EndsAt: now}).Good(now), false},
		{"ended before its time", (&register.Token{EndsAt: after, EndedAt: &before}).Good(now), false},
		{"an address before its end", (&register.Invitation{ExpiresAt: after}).Good(now), true},
		{"at its end", (&register.Invitation{ExpiresAt: now}).Good(now), false},
		{"used", (&register.Invitation{ExpiresAt: after, UsedAt: &before}).Good(now), false},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v", c.why, c.got)
		}
	}
}

func TestCheck_PeopleAndWhatLetsThemIn(t *testing.T) {
	hash := strings.Repeat("a", 64)
	viewer := []register.GivenRole{{Role: register.Viewer}}
	day, err := quantity.ParseDate("2026-11-25")
	if err != nil {
		t.Fatal(err)
	}
	ends := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		why   string
		cmd   register.Command
		field string // empty: nothing is wrong
		ok    bool
	}{
		{"a person", register.AddPerson{Name: "A. Moor", Email: "moor@example.org", Roles: viewer}, "", true},
		{"no name", register.AddPerson{Roles: viewer}, "name", false},
		{"a name of space", register.AddPerson{Name: " A ", Roles: viewer}, "name", false},
		{"a name that cannot be seen", register.AddPerson{Name: "A\u200bB", Roles: viewer}, "name", false},
		{"a name of two lines", register.AddPerson{Name: "A\nB", Roles: viewer}, "name", false},
		{"a name longer than anybody types", register.AddPerson{Name: strings.Repeat("x", 61), Roles: viewer}, "name", false},
		{"no address of mail", register.AddPerson{Name: "A", Email: "nobody", Roles: viewer}, "email", false},
		{"two addresses", register.AddPerson{Name: "A", Email: "a@b.example,c@d.example", Roles: viewer}, "email", false},
		{"a line break in it", register.AddPerson{Name: "A", Email: "a@b.example\nBcc: c@d.example", Roles: viewer}, "email", false},
		{"no role", register.AddPerson{Name: "A"}, "roles", false},
		{"a role that is none", register.AddPerson{Name: "A", Roles: []register.GivenRole{{Role: "root"}}}, "roles", false},
		{"a role twice", register.AddPerson{Name: "A", Roles: []register.GivenRole{{Role: "viewer", Site: "Depot"}, {Role: "viewer", Site: "depot"}}}, "roles", false},
		{"a role at two sites", register.AddPerson{Name: "A", Roles: []register.GivenRole{{Role: "viewer", Site: "Depot"}, {Role: "viewer", Site: "Yard"}}}, "", true},
		{"an address for them without a secret", register.AddPerson{Name: "A", Roles: viewer, Invite: &register.Invite{EndsAt: ends}}, "", false},
		{"no roles any more", register.SetRoles{PersonID: 2}, "roles", false},
		{"left", register.RetirePerson{On: day, Reason: "works elsewhere"}, "", true},
		{"left on no day", register.RetirePerson{Reason: "x"}, "on", false},
		{"left for no reason", register.RetirePerson{On: day}, "reason", false},
		{"the first manager", register.FirstManager{Name: "A", Hash: hash}, "", true},
		{"a first manager without a password", register.FirstManager{Name: "A"}, "", false},
		{"a password instead of its hash", register.ChoosePassword{Hash: "short secret"}, "", false},
		{"a hash of a password", register.ChoosePassword{Hash: hash}, "", true},
		{"a device", register.EnrolDevice{Name: "phone", Hash: hash, PINHash: hash, EndsAt: ends}, "", true},
		{"a device without a name", register.EnrolDevice{Hash: hash, PINHash: hash, EndsAt: ends}, "device", false},
		{"a PIN instead of its hash", register.EnrolDevice{Name: "phone", Hash: hash, PINHash: "493817", EndsAt: ends}, "", false},
		{"a token", register.MakeToken{PersonID: 2, Hash: hash, EndsAt: ends}, "", true},
		{"a token for ever", register.MakeToken{PersonID: 2, Hash: hash}, "ends", false},
		{"an address for ever", register.Invite{PersonID: 2, Hash: hash}, "ends", false},
	} {
		err := c.cmd.Check()
		refusal, _ := err.(*register.Error)
		switch {
		case c.ok && err != nil:
			t.Errorf("%s: %v", c.why, err)
		case !c.ok && (refusal == nil || refusal.Field != c.field):
			t.Errorf("%s: %v, want a refusal at %q", c.why, err, c.field)
		}
	}
}

func TestTitle_OfPeopleHoldsNoSecret(t *testing.T) {
	const secret = "secret-hash-of-something-that-lets-people-in"
	for _, c := range []struct {
		cmd  register.Command
		want string
	}{
		{register.AddPerson{Name: "A. Moor", Invite: &register.Invite{Hash: secret}}, "New person A. Moor"},
		{register.AddPerson{Name: "Gate", Program: true}, "New program Gate"},
		{register.FirstManager{Name: "B. Ruhr", Hash: secret}, "First manager B. Ruhr"},
		{register.ChoosePassword{Hash: secret, Invitation: secret}, "Password chosen"},
		{register.EnrolDevice{Name: "phone", Hash: secret, PINHash: secret}, "PIN on phone"},
		{register.MakeToken{Hash: secret}, "New token"},
		{register.Invite{Hash: secret}, "One-time address to choose a password"},
		{register.SetRoles{}, "Roles of a person"},
		{register.SignOutEverywhere{}, "Signed out everywhere"},
		{register.EndToken{}, "Token ended"},
		{register.EndDevice{}, "PIN ended"},
		{register.RetirePerson{}, "A person left"},
		{register.ReturnPerson{}, "A person is back"},
		{register.ChangePerson{Name: "A. Moor"}, "Change of person A. Moor"},
	} {
		if got := register.Title(c.cmd); got != c.want {
			t.Errorf("%T is called %q, want %q", c.cmd, got, c.want)
		}
	}
}

func TestRightFor_WhatIsOnesOwnNeedsNoManager(t *testing.T) {
	for _, c := range []struct {
		cmd  register.Command
		want register.Right
	}{
		{register.ChoosePassword{}, register.RightOwn},
		{register.EnrolDevice{}, register.RightOwn},
		{register.EndDevice{}, register.RightOwn},
		{register.SignOutEverywhere{}, register.RightOwn},
		{register.AddPerson{}, register.RightManage},
		{register.ChangePerson{}, register.RightManage},
		{register.SetRoles{}, register.RightManage},
		{register.RetirePerson{}, register.RightManage},
		{register.ReturnPerson{}, register.RightManage},
		{register.FirstManager{}, register.RightManage},
		{register.Invite{}, register.RightManage},
		{register.MakeToken{}, register.RightManage},
		{register.EndToken{}, register.RightManage},
	} {
		if got := register.RightFor(c.cmd); got != c.want {
			t.Errorf("%T needs the right to %s, want %s", c.cmd, got, c.want)
		}
	}
}
