package register

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// The bounds of what is kept of people.
const (
	maxPersonName = 60  // letters, as of a code: they are typed
	maxEmail      = 254 // letters; RFC 5321 allows no longer path
	maxRoles      = 200 // of one person
	maxHash       = 500 // letters of a hash with its parameters
)

// person checks the name and the address of a person.
func (c *checks) person(name, email string) {
	c.name("name", "the name to sign in with", name, maxPersonName)
	c.text("email", email, maxEmail)
	c.that(email == "" || isEmail(email), "email", "Write the e-mail address as name@example.org, or leave it empty.")
}

// isEmail reports whether a text can be an address of mail: something, an at
// sign and a host. More only sending shows.
func isEmail(s string) bool {
	at := strings.LastIndexByte(s, '@')
	return at > 0 && at < len(s)-1 && !strings.ContainsAny(s, " \t\r\n<>,;")
}

// roles checks roles as they are given.
func (c *checks) roles(given []GivenRole) {
	c.that(len(given) > 0, "roles", "Give at least one role; whoever is to do nothing any more has left.")
	c.that(len(given) <= maxRoles, "roles", "These are more than %d roles; give a role at all sites instead.", maxRoles)
	for i, g := range given {
		c.that(slices.Contains(Roles(), g.Role), "roles", "“%s” is no role.", g.Role)
		c.text("roles", g.Site, maxName)
		for _, other := range given[:i] {
			c.that(other.Role != g.Role || !strings.EqualFold(other.Site, g.Site), "roles", "A role is given twice at the same site.")
		}
	}
}

// hash wants the hash of a secret; a secret itself would be a mistake of the
// program.
func (c *checks) hash(s string) {
	c.that(len(s) >= 32 && len(s) <= maxHash && utf8.ValidString(s), "", "The secret could not be kept; try again.")
}

// Check says what is wrong with it.
func (a AddPerson) Check() error {
	var c checks
	c.person(a.Name, a.Email)
	c.roles(a.Roles)
	if a.Invite != nil && c.err == nil {
		c.err = a.Invite.Check()
	}
	return c.err
}

// Check says what is wrong with it.
func (a ChangePerson) Check() error {
	var c checks
	c.person(a.Name, a.Email)
	return c.err
}

// Check says what is wrong with it.
func (a SetRoles) Check() error {
	var c checks
	c.roles(a.Roles)
	return c.err
}

// Check says what is wrong with it.
func (a RetirePerson) Check() error {
	var c checks
	c.that(!a.On.IsZero(), "on", "Give the day they left.")
	c.day("on", a.On)
	c.that(strings.TrimSpace(a.Reason) != "", "reason", "Say in a few words why.")
	c.text("reason", a.Reason, maxText)
	return c.err
}

// Check has nothing to find.
func (a ReturnPerson) Check() error { return nil }

// Check says what is wrong with it.
func (a FirstManager) Check() error {
	var c checks
	c.person(a.Name, a.Email)
	c.hash(a.Hash)
	return c.err
}

// Check says what is wrong with it.
func (a Invite) Check() error {
	var c checks
	c.hash(a.Hash)
	c.that(!a.EndsAt.IsZero(), "ends", "Say until when the address counts.")
	return c.err
}

// Check says what is wrong with it.
func (a ChoosePassword) Check() error {
	var c checks
	c.hash(a.Hash)
	return c.err
}

// Check has nothing to find.
func (a SignOutEverywhere) Check() error { return nil }

// Check says what is wrong with it.
func (a EnrolDevice) Check() error {
	var c checks
	c.name("device", "what you call this device", a.Name, maxPersonName)
	c.hash(a.Hash)
	c.hash(a.PINHash)
	c.that(!a.EndsAt.IsZero(), "ends", "Say until when the PIN counts.")
	return c.err
}

// Check has nothing to find.
func (a EndDevice) Check() error { return nil }

// Check says what is wrong with it.
func (a MakeToken) Check() error {
	var c checks
	c.hash(a.Hash)
	c.that(!a.EndsAt.IsZero(), "ends", "Say until when the token counts.")
	return c.err
}

// Check has nothing to find.
func (a EndToken) Check() error { return nil }
