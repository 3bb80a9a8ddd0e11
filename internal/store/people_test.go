package store_test

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// crew is a register with two sites and people.
type crew struct {
	t *testing.T
	*store.Store
}

func newCrew(t *testing.T, s *store.Store) *crew {
	t.Helper()
	apply(t, s, register.AddSite{Name: "North", Zone: "UTC"}, register.AddSite{Name: "South", Zone: "UTC"})
	return &crew{t, s}
}

func role(r register.Role, site string) register.GivenRole {
	return register.GivenRole{Role: r, Site: site}
}

// add adds a person who has a password, and gives their number.
func (c *crew) add(name string, roles ...register.GivenRole) int64 {
	c.t.Helper()
	id := c.mustAs(register.LocalPersonID, register.AddPerson{Name: name, Roles: roles}).PersonID
	c.mustAs(id, register.ChoosePassword{Hash: hashOf(name)})
	return id
}

// hashOf stands for the hash of a secret.
func hashOf(secret string) string { return "hash of " + secret + strings.Repeat(".", 40) }

func (c *crew) as(id int64, cmds ...register.Command) (register.Result, error) {
	c.t.Helper()
	return c.Apply(c.t.Context(), now, register.Actor{PersonID: id, Origin: register.FromPage}, cmds...)
}

func (c *crew) mustAs(id int64, cmds ...register.Command) register.Result {
	c.t.Helper()
	r, err := c.as(id, cmds...)
	if err != nil {
		c.t.Fatalf("%T: %v", cmds[0], err)
	}
	return r
}

func (c *crew) sheet(id int64) register.PersonSheet {
	c.t.Helper()
	return read[register.PersonSheet](c.t)(c.PersonSheet(c.t.Context(), now, register.AllSites(), id))
}

func (c *crew) signedIn(id int64) register.SignedIn {
	c.t.Helper()
	return read[register.SignedIn](c.t)(c.SignedIn(c.t.Context(), id))
}

func TestPeople_NobodyGivesMoreThanTheyHave(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, other := c.add("Boss", role(register.Manager, "")), c.add("Other boss", role(register.Manager, ""))
		north := c.add("North manager", role(register.Manager, "North"))
		planner := c.add("Planner", role(register.Planner, ""))
		fitter := c.add("Fitter", role(register.Fitter, "North"))
		both := c.add("Both", role(register.Fitter, "North"), role(register.Viewer, "South"))
		everywhere := c.add("Everywhere", role(register.Viewer, ""))
		set := func(id int64, roles ...register.GivenRole) register.Command {
			return register.SetRoles{PersonID: id, Roles: roles}
		}
		ends := now.Add(time.Hour)
		for _, row := range []struct {
			why  string
			by   int64
			cmd  register.Command
			code register.Code // empty: allowed
		}{
			{"a manager gives a role", boss, set(fitter, role(register.Inspector, "North")), ""},
			{"nobody gives themselves one, not a manager of all sites either", boss, set(boss, role(register.Manager, ""), role(register.Viewer, "")), register.Forbidden},
			{"nor takes one of their own", boss, set(boss, role(register.Viewer, "")), register.Forbidden},
			{"nor says of themselves that they left", boss, register.RetirePerson{ID: boss, On: today, Reason: "x"}, register.Forbidden},
			{"nor makes themselves a one-time address", boss, register.Invite{PersonID: boss, Hash: hashOf("w1"), EndsAt: ends}, register.Forbidden},
			{"a planner adds nobody", planner, register.AddPerson{Name: "X", Roles: []register.GivenRole{role(register.Viewer, "")}}, register.Forbidden},
			{"and makes no address", planner, register.Invite{PersonID: fitter, Hash: hashOf("w2"), EndsAt: ends}, register.Forbidden},
			{"and no address for a manager", fitter, register.Invite{PersonID: boss, Hash: hashOf("w3"), EndsAt: ends}, register.Forbidden},
			{"a fitter does not sign others out", fitter, register.SignOutEverywhere{PersonID: boss}, register.Forbidden},
			{"but themselves", fitter, register.SignOutEverywhere{PersonID: fitter}, ""},
			{"a manager of North adds somebody there", north, register.AddPerson{Name: "N1", Roles: []register.GivenRole{role(register.Viewer, "North")}}, ""},
			{"and another manager there", north, register.AddPerson{Name: "N2", Roles: []register.GivenRole{role(register.Manager, "North")}}, ""},
			{"not at South", north, register.AddPerson{Name: "S1", Roles: []register.GivenRole{role(register.Viewer, "South")}}, register.NotFound},
			{"not at North and South", north, register.AddPerson{Name: "S2", Roles: []register.GivenRole{role(register.Viewer, "North"), role(register.Viewer, "South")}}, register.NotFound},
			{"not at all sites", north, register.AddPerson{Name: "S3", Roles: []register.GivenRole{role(register.Viewer, "")}}, register.Forbidden},
			{"changes whose every role is at North", north, set(fitter, role(register.Fitter, "North")), ""},
			{"gives them nothing at South", north, set(fitter, role(register.Fitter, "South")), register.NotFound},
			{"not whose roles are at South too", north, set(both, role(register.Fitter, "North")), register.NotFound},
			{"nor their name", north, register.ChangePerson{ID: both, Name: "Taken over"}, register.NotFound},
			{"nor their password", north, register.Invite{PersonID: both, Hash: hashOf("w4"), EndsAt: ends}, register.NotFound},
			{"nor the password of a manager of all", north, register.Invite{PersonID: boss, Hash: hashOf("w5"), EndsAt: ends}, register.Forbidden},
			{"nor signs them out", north, register.SignOutEverywhere{PersonID: boss}, register.Forbidden},
			{"nor says that a viewer of all sites left", north, register.RetirePerson{ID: everywhere, On: today, Reason: "x"}, register.Forbidden},
			{"nobody changes the program itself", boss, register.ChangePerson{ID: register.LocalPersonID, Name: "me"}, register.Refused},
			{"nor its roles", boss, register.SetRoles{PersonID: register.LocalPersonID, Roles: []register.GivenRole{role(register.Viewer, "")}}, register.Refused},
			{"nor lets it sign in", boss, register.Invite{PersonID: register.LocalPersonID, Hash: hashOf("w6"), EndsAt: ends}, register.Refused},
			{"nor does it itself", register.LocalPersonID, register.ChoosePassword{Hash: hashOf("x")}, register.Forbidden},
			{"a name is one person's, whatever its capitals", boss, register.AddPerson{Name: "fitter", Roles: []register.GivenRole{role(register.Viewer, "")}}, register.Exists},
			{"also by a change", boss, register.ChangePerson{ID: fitter, Name: "PLANNER"}, register.Exists},
			{"a site that is none", boss, register.AddPerson{Name: "Y", Roles: []register.GivenRole{role(register.Viewer, "West")}}, register.NotFound},
			{"a person who is none", boss, register.SetRoles{PersonID: 999, Version: 1, Roles: []register.GivenRole{role(register.Viewer, "")}}, register.NotFound},
			{"an older version", boss, register.SetRoles{PersonID: other, Version: 99, Roles: []register.GivenRole{role(register.Viewer, "")}}, register.Conflict},
			{"a second first manager", register.LocalPersonID, register.FirstManager{Name: "Z", Hash: hashOf("z")}, register.Refused},
			{"an address that counts longer than a week", boss, register.Invite{PersonID: fitter, Hash: hashOf("w7"), EndsAt: now.Add(8 * 24 * time.Hour)}, register.Invalid},
			{"an address that counts no more", boss, register.Invite{PersonID: fitter, Hash: hashOf("w8"), EndsAt: now}, register.Invalid},
		} {
			before := c.rows()
			_, err := c.as(row.by, c.current(row.cmd))
			switch {
			case row.code == "" && err != nil:
				t.Errorf("%s: %v", row.why, err)
			case row.code != "" && !isRefusal(err, row.code):
				t.Errorf("%s: %v, want %s", row.why, err, row.code)
			case row.code != "" && c.rows() != before:
				t.Errorf("%s: refused, and something was changed", row.why)
			}
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

// current is a command with the version its person has now, if it says none.
func (c *crew) current(cmd register.Command) register.Command {
	c.t.Helper()
	version := func(id int64) (v int) {
		if err := c.Raw().QueryRow(fmt.Sprintf("SELECT COALESCE(MAX(version), 1) FROM people WHERE id = %d", id)).Scan(&v); err != nil {
			c.t.Fatal(err)
		}
		return v
	}
	switch m := cmd.(type) {
	case register.ChangePerson:
		m.Version = version(m.ID)
		return m
	case register.RetirePerson:
		m.Version = version(m.ID)
		return m
	case register.SetRoles:
		if m.Version == 0 {
			m.Version = version(m.PersonID)
		}
		return m
	}
	return cmd
}

// rows counts what a refusal must not change.
func (c *crew) rows() [5]int {
	var n [5]int
	for i, q := range []string{"changes", "people", "person_roles", "invitations", "credentials WHERE generation > 1"} {
		if err := c.Raw().QueryRow("SELECT COUNT(*) FROM " + q).Scan(&n[i]); err != nil {
			c.t.Fatal(err)
		}
	}
	return n
}

// With a PIN nobody does what managers do, though they be one.
func TestPeople_APINIsNotEnough(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, fitter := c.add("Boss", role(register.Manager, "")), c.add("Fitter", role(register.Fitter, "North"))
		ends := now.Add(time.Hour)
		for _, cmd := range []register.Command{
			register.AddPerson{Name: "X", Roles: []register.GivenRole{role(register.Viewer, "")}},
			register.ChangePerson{ID: fitter, Version: c.sheet(fitter).Version, Name: "Y"},
			register.SetRoles{PersonID: fitter, Version: c.sheet(fitter).Version, Roles: []register.GivenRole{role(register.Viewer, "")}},
			register.RetirePerson{ID: fitter, Version: c.sheet(fitter).Version, On: today, Reason: "x"},
			register.Invite{PersonID: fitter, Hash: hashOf("w"), EndsAt: ends},
			register.SignOutEverywhere{PersonID: fitter},
			register.ChoosePassword{Hash: hashOf("new")},
			register.EnrolDevice{Name: "another", Hash: hashOf("d"), PINHash: hashOf("p"), EndsAt: ends},
			register.AddSite{Name: "West", Zone: "UTC"},
		} {
			_, err := s.Apply(t.Context(), now, register.Actor{PersonID: boss, Origin: register.FromPage, ByPIN: true}, cmd)
			if !isRefusal(err, register.Forbidden) || !strings.Contains(err.Error(), "password") {
				t.Errorf("%T: %v", cmd, err)
			}
		}
		if _, err := s.Apply(t.Context(), now, register.Actor{PersonID: boss, Origin: register.FromPage, ByPIN: true}, register.SetUnits{}); err != nil {
			t.Errorf("what is one's own: %v", err)
		}
	})
}

func TestPeople_TheLastManagerOfAllSitesStays(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		a, b := c.add("A", role(register.Manager, "")), c.add("B", role(register.Manager, ""))
		c.add("C", role(register.Manager, "North"))
		viewer := []register.GivenRole{role(register.Viewer, "")}
		// By command, which is somebody else, so that the rule is the only one in the way.
		c.mustAs(register.LocalPersonID, register.RetirePerson{ID: b, Version: c.sheet(b).Version, On: today, Reason: "x"})
		if _, err := c.as(register.LocalPersonID, register.SetRoles{PersonID: a, Version: c.sheet(a).Version, Roles: viewer}); !isRefusal(err, register.Refused) {
			t.Errorf("roles of the last: %v", err)
		}
		if _, err := c.as(register.LocalPersonID, register.RetirePerson{ID: a, Version: c.sheet(a).Version, On: today, Reason: "x"}); !isRefusal(err, register.Refused) {
			t.Errorf("the last leaves: %v", err)
		}
		c.mustAs(register.LocalPersonID, register.ReturnPerson{ID: b, Version: c.sheet(b).Version})

		// Two who take each other's role at once must not both succeed.
		var both sync.WaitGroup
		done := make([]error, 2)
		for i, pair := range [][2]int64{{a, b}, {b, a}} {
			cmd := register.SetRoles{PersonID: pair[1], Version: c.sheet(pair[1]).Version, Roles: viewer}
			both.Go(func() {
				_, done[i] = s.Apply(context.Background(), now, register.Actor{PersonID: pair[0], Origin: register.FromPage}, cmd)
			})
		}
		both.Wait()
		if (done[0] == nil) == (done[1] == nil) {
			t.Errorf("two at once: %v; %v", done[0], done[1])
		}
	})
}

func TestPeople_WhoLeftIsNobodyAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, fitter := c.add("Boss", role(register.Manager, "")), c.add("Fitter", role(register.Fitter, "North"))
		program := c.mustAs(boss, register.AddPerson{Name: "gate", Program: true, Roles: []register.GivenRole{role(register.Fitter, "North")}}).PersonID
		c.mustAs(boss, register.MakeToken{PersonID: program, Hash: hashOf("token"), EndsAt: now.AddDate(1, 0, 0)})
		c.mustAs(fitter, register.EnrolDevice{Name: "phone", Hash: hashOf("device"), PINHash: hashOf("pin"), EndsAt: now.Add(time.Hour)})
		before := c.signedIn(fitter)
		for _, id := range []int64{fitter, program} {
			c.mustAs(boss, register.RetirePerson{ID: id, Version: c.sheet(id).Version, On: today, Reason: "works elsewhere"})
		}
		after := c.signedIn(fitter)
		if len(before.Roles) != 1 || len(after.Roles) != 0 || after.Generation == before.Generation {
			t.Errorf("before %+v, after %+v", before, after)
		}
		if held := read[register.Credential](t)(s.TryPassword(t.Context(), "Fitter", now)); held.PersonID != 0 {
			t.Error("the password still counts")
		}
		if d, _, err := s.Device(t.Context(), hashOf("device"), now); d != nil || err != nil {
			t.Errorf("the PIN still counts: %v", err)
		}
		if who, err := s.TokenUsed(t.Context(), hashOf("token"), now); who != nil || err != nil {
			t.Errorf("the token still counts: %v", err)
		}
		if _, err := c.as(fitter, register.AddReading{Machine: "none", On: today}); !isRefusal(err, register.NotFound) && !isRefusal(err, register.Forbidden) {
			t.Errorf("still changes something: %v", err)
		}
		if _, err := c.as(fitter, register.ChoosePassword{Hash: hashOf("x")}); !isRefusal(err, register.Forbidden) {
			t.Errorf("chooses a password: %v", err)
		}
		if _, err := c.as(boss, register.Invite{PersonID: fitter, Hash: hashOf("w"), EndsAt: now.Add(time.Hour)}); !isRefusal(err, register.Refused) {
			t.Errorf("an address for somebody who left: %v", err)
		}
		c.mustAs(boss, register.ReturnPerson{ID: fitter, Version: c.sheet(fitter).Version})
		if k := c.signedIn(fitter); len(k.Roles) != 1 {
			t.Errorf("back with %+v", k.Roles)
		}
		if held := read[register.Credential](t)(s.TryPassword(t.Context(), "Fitter", now)); held.PersonID != fitter {
			t.Error("back, and the password does not count")
		}
		if d, _, _ := s.Device(t.Context(), hashOf("device"), now); d != nil {
			t.Error("the PIN came back")
		}
	})
}

func TestInvitation_CountsOnceAndEndsWhatWas(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, fitter := c.add("Boss", role(register.Manager, "")), c.add("Fitter", role(register.Fitter, "North"))
		ends := now.Add(time.Hour)
		invite := func(secret string) {
			c.mustAs(boss, register.Invite{PersonID: fitter, Hash: hashOf(secret), EndsAt: ends})
		}
		choose := func(by int64, secret string) error {
			_, err := c.as(by, register.ChoosePassword{Hash: hashOf("chosen"), Invitation: hashOf(secret)})
			return err
		}
		c.mustAs(fitter, register.EnrolDevice{Name: "phone", Hash: hashOf("device"), PINHash: hashOf("pin"), EndsAt: ends})
		before := c.signedIn(fitter).Generation
		invite("first")
		if k := c.signedIn(fitter); k.Generation == before {
			t.Error("the sessions before go on")
		}
		if held := read[register.Credential](t)(s.TryPassword(t.Context(), "Fitter", now)); held.PersonID != 0 {
			t.Error("the password before still counts")
		}
		if d, _, _ := s.Device(t.Context(), hashOf("device"), now); d != nil {
			t.Error("the PIN still counts")
		}
		invite("second")
		if err := choose(fitter, "first"); !isRefusal(err, register.NotFound) {
			t.Errorf("the older address: %v", err)
		}
		if err := choose(boss, "second"); !isRefusal(err, register.NotFound) {
			t.Errorf("somebody else's address: %v", err)
		}
		if p, err := s.Invited(t.Context(), hashOf("second"), now); err != nil || p.ID != fitter {
			t.Errorf("whom the address is for: %+v, %v", p, err)
		}
		if err := choose(fitter, "second"); err != nil {
			t.Errorf("the address: %v", err)
		}
		if err := choose(fitter, "second"); !isRefusal(err, register.NotFound) {
			t.Errorf("a second time: %v", err)
		}
		if _, err := s.Invited(t.Context(), hashOf("second"), now); !isRefusal(err, register.NotFound) {
			t.Errorf("looked at again: %v", err)
		}
		if held := read[register.Credential](t)(s.TryPassword(t.Context(), "FITTER", now)); held.PersonID != fitter || held.PasswordHash != hashOf("chosen") {
			t.Errorf("held to %+v", held)
		}
		if p := c.sheet(fitter); p.PasswordAt == nil || !p.PasswordAt.Equal(now) || !p.Password || p.Invited != nil {
			t.Errorf("%+v", p)
		}
		invite("third")
		if _, err := s.Apply(t.Context(), ends, register.Actor{PersonID: fitter}, register.ChoosePassword{Hash: hashOf("x"), Invitation: hashOf("third")}); !isRefusal(err, register.NotFound) {
			t.Errorf("when its time is over: %v", err)
		}
	})
}

func TestFirstManager_OnlyWhileNobodyCanSignIn(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		if can := read[bool](t)(s.AnyoneCanSignIn(ctx)); can {
			t.Error("a new register lets somebody in")
		}
		first := func(name string) error {
			_, err := s.Apply(ctx, now, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage}, register.FirstManager{Name: name, Hash: hashOf(name)})
			return err
		}
		done := make([]error, 4)
		var all sync.WaitGroup
		for i, name := range []string{"A", "B", "C", "D"} {
			all.Go(func() { done[i] = first(name) })
		}
		all.Wait()
		if n := len(slices.DeleteFunc(slices.Clone(done), func(err error) bool { return err != nil })); n != 1 {
			t.Errorf("%d of four at once became the first manager: %v", n, done)
		}
		if can := read[bool](t)(s.AnyoneCanSignIn(ctx)); !can {
			t.Error("the first manager cannot sign in")
		}
		list := read[[]register.PersonLine](t)(s.People(ctx, now, register.AllSites()))
		if len(list) != 1 || !slices.Equal(list[0].Roles, []register.RoleAt{{Role: register.Manager}}) {
			t.Errorf("%+v", list)
		}
	})
}

func TestPeople_AManagerSeesWhomTheyMayChange(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		c.add("Boss", role(register.Manager, ""))
		c.add("North fitter", role(register.Fitter, "North"))
		both := c.add("Both", role(register.Fitter, "North"), role(register.Viewer, "South"))
		c.add("South viewer", role(register.Viewer, "South"))
		sites := read[[]register.Site](t)(s.Sites(t.Context()))
		for _, row := range []struct {
			why  string
			by   register.Scope
			want string
		}{
			{"who manages all sees all, and never the program itself", register.AllSites(), "Boss, Both, North fitter, South viewer"},
			{"who manages North sees who is there only", register.Scope{Sites: []int64{sites[0].ID}}, "North fitter"},
			{"who manages both sees who is at either", register.Scope{Sites: []int64{sites[0].ID, sites[1].ID}}, "Both, North fitter, South viewer"},
			{"who manages nothing sees nobody", register.Scope{}, ""},
		} {
			var names []string
			for _, l := range read[[]register.PersonLine](t)(s.People(t.Context(), now, row.by)) {
				names = append(names, l.Name)
			}
			if got := strings.Join(names, ", "); got != row.want {
				t.Errorf("%s: %s", row.why, got)
			}
		}
		if _, err := s.PersonSheet(t.Context(), now, register.Scope{Sites: []int64{sites[0].ID}}, both); !isRefusal(err, register.NotFound) {
			t.Errorf("the sheet of somebody who is at South too: %v", err)
		}
		if _, err := s.PersonSheet(t.Context(), now, register.AllSites(), register.LocalPersonID); !isRefusal(err, register.NotFound) {
			t.Errorf("the sheet of the program itself: %v", err)
		}
	})
}

// Nothing about people is undone, and no secret comes into the change log.
func TestPeople_TheLogTellsWhatWasDoneAndNoSecret(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss := c.add("Boss", role(register.Manager, ""))
		fitter := c.mustAs(boss, register.AddPerson{Name: "Fitter", Roles: []register.GivenRole{role(register.Fitter, "North")}, Invite: &register.Invite{Hash: hashOf("invitation"), EndsAt: now.Add(time.Hour)}}).PersonID
		c.mustAs(fitter, register.ChoosePassword{Hash: hashOf("password"), Invitation: hashOf("invitation")})
		c.mustAs(fitter, register.EnrolDevice{Name: "phone", Hash: hashOf("device"), PINHash: hashOf("pin"), EndsAt: now.Add(time.Hour)})
		program := c.mustAs(boss, register.AddPerson{Name: "gate", Program: true, Roles: []register.GivenRole{role(register.Fitter, "North")}}).PersonID
		c.mustAs(boss, register.MakeToken{PersonID: program, Hash: hashOf("token"), EndsAt: now.AddDate(1, 0, 0)})
		c.mustAs(boss, register.EndToken{ID: c.sheet(program).Listed[0].ID})
		c.mustAs(boss, register.SetRoles{PersonID: fitter, Version: c.sheet(fitter).Version, Roles: []register.GivenRole{role(register.Viewer, "South")}})
		c.mustAs(fitter, register.SignOutEverywhere{PersonID: fitter})

		told := map[string]int{}
		rows, err := s.Raw().Query(`SELECT entity, action, "before" || "after" || reason FROM changes`)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		for rows.Next() {
			var entity, action, text string
			if err := rows.Scan(&entity, &action, &text); err != nil {
				t.Fatal(err)
			}
			told[entity+" "+action]++
			if strings.Contains(text, "hash of") {
				t.Errorf("%s %s holds a secret: %s", entity, action, text)
			}
		}
		for what, least := range map[string]int{
			"people added": 3, "people changed": 2, "person_roles added": 4, "person_roles deleted": 1, "credentials changed": 1,
			"invitations added": 1, "invitations changed": 1, "devices added": 1, "devices deleted": 1, "tokens added": 1, "tokens changed": 1,
		} {
			if told[what] < least {
				t.Errorf("the log tells of %d %s, want %d: %v", told[what], what, least, told)
			}
		}
		for _, id := range []int64{boss, fitter} {
			var of []int64
			ids, err := s.Raw().Query("SELECT id FROM acts WHERE person_id = " + strconv.FormatInt(id, 10))
			if err != nil {
				t.Fatal(err)
			}
			for ids.Next() {
				var act int64
				if err := ids.Scan(&act); err != nil {
					t.Fatal(err)
				}
				of = append(of, act)
			}
			ids.Close()
			for _, act := range of {
				if _, err := s.Undo(t.Context(), now, register.Actor{PersonID: id, Origin: register.FromPage}, act); !isRefusal(err, register.Refused) {
					t.Errorf("act %d is undone: %v", act, err)
				}
			}
			if acts := read[[]register.Act](t)(s.Acts(t.Context(), now, id, 0)); len(of) == 0 || len(acts) != 0 {
				t.Errorf("%d acts, offered for undoing: %+v", len(of), acts)
			}
		}
		c.mustAs(fitter, register.SetUnits{Units: register.Units{PressureUnit: "psi"}})
		units := read[[]register.Act](t)(s.Acts(t.Context(), now, fitter, 0))
		if len(units) != 1 {
			t.Fatalf("one's own units are not offered for undoing: %+v", units)
		}
		if _, err := s.Undo(t.Context(), now, register.Actor{PersonID: fitter, Origin: register.FromPage}, units[0].ID); err != nil {
			t.Errorf("one's own units are not undone: %v", err)
		}
	})
}

var today = quantity.DateOf(now, time.UTC)
