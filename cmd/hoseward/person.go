package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"hoseward/internal/config"
	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/internal/store"
)

// personCommands are about people. They work whether the program serves or
// not, for whoever may write the register.
type personCommands struct {
	Add   personAddCommand   `cmd:"" help:"Add a person and print the one-time address at which they choose a password."`
	List  personListCommand  `cmd:"" help:"List people and programs with their roles."`
	Reset personResetCommand `cmd:"" help:"End a person's password and print a one-time address at which they choose another."`
}

// personAddCommand adds a person.
type personAddCommand struct {
	Name  string   `arg:"" help:"Name to sign in with."`
	Role  string   `required:"" help:"manager, planner, inspector, fitter or viewer."`
	Site  []string `help:"Site of the role, several times for several; all sites if not given."`
	Email string   `help:"E-mail address."`
}

// Run adds the person.
func (c personAddCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openRegister(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	add := register.AddPerson{Name: c.Name, Email: c.Email, Invite: &register.Invite{}}
	for _, site := range c.Site {
		add.Roles = append(add.Roles, register.GivenRole{Role: register.Role(c.Role), Site: site})
	}
	if len(c.Site) == 0 {
		add.Roles = []register.GivenRole{{Role: register.Role(c.Role)}}
	}
	secret := session.NewSecret()
	add.Invite.Hash, add.Invite.EndsAt = session.HashSecret(secret), m.Now().Add(register.InvitationLasts)
	if _, err := reg.Apply(ctx, m.Now(), byCommand(), add); err != nil {
		return err
	}
	printWelcome(m, s, c.Name, secret)
	return nil
}

// printWelcome prints a one-time address.
func printWelcome(m *Main, s config.Settings, name, secret string) {
	fmt.Fprintf(m.Stdout, "%s chooses a password at %s/welcome/%s\nThe address counts once, for %d days.\n",
		name, baseAddress(s), secret, int(register.InvitationLasts.Hours()/24))
}

// baseAddress is the base of addresses people use, by the settings.
func baseAddress(s config.Settings) string {
	switch {
	case s.PublicURL != nil:
		return strings.TrimSuffix(s.PublicURL.String(), "/")
	case s.TLS.On():
		return "https://" + s.Listen
	}
	return "http://" + s.Listen
}

// personListCommand lists people and programs.
type personListCommand struct {
	JSON bool `name:"json" help:"As JSON, one object for each."`
}

// personOut is a person as --json prints them.
type personOut struct {
	Name     string   `json:"name"`
	Email    string   `json:"email,omitempty"`
	Program  bool     `json:"program"`
	Roles    []string `json:"roles"`
	Gone     string   `json:"gone,omitempty"` // day they left
	Password bool     `json:"password"`
	Locked   bool     `json:"locked"`
}

// Run lists them.
func (c personListCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openExisting(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	list, err := reg.People(ctx, m.Now(), register.AllSites())
	if err != nil {
		return err
	}
	if c.JSON {
		enc := json.NewEncoder(m.Stdout)
		for _, l := range list {
			if err := enc.Encode(personOut{l.Name, l.Email, l.Program, roleTexts(l.Roles), l.GoneOn.String(), l.Password, l.Locked}); err != nil {
				return fmt.Errorf("write the list: %w", err)
			}
		}
		return nil
	}
	t := tabwriter.NewWriter(m.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "NAME\tROLES\tSIGNING IN")
	for _, l := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\n", l.Name, strings.Join(roleTexts(l.Roles), "; "), standing(l))
	}
	return t.Flush()
}

func roleTexts(roles []register.RoleAt) []string {
	texts := []string{}
	for _, r := range roles {
		at := "all sites"
		if r.Site != "" {
			at = r.Site
		}
		texts = append(texts, string(r.Role)+" at "+at)
	}
	return texts
}

// standing says how it stands with somebody's signing in.
func standing(l register.PersonLine) string {
	switch {
	case !l.GoneOn.IsZero():
		return "left on " + l.GoneOn.String()
	case l.Program:
		return fmt.Sprintf("program, tokens that count: %d", l.Tokens)
	case l.Locked:
		return "locked after wrong passwords"
	case l.Password:
		return "by password"
	case l.Invited != nil:
		return "one-time address until " + l.Invited.Format("2006-01-02")
	}
	return "no password yet"
}

// personResetCommand lets a person choose another password.
type personResetCommand struct {
	Name string `arg:"" help:"Name they sign in with."`
}

// Run ends the password and prints the address.
func (c personResetCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openExisting(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	secret, err := resetPerson(ctx, m, reg, c.Name)
	if err != nil {
		return err
	}
	printWelcome(m, s, c.Name, secret)
	return nil
}

func resetPerson(ctx context.Context, m *Main, reg *store.Store, name string) (secret string, err error) {
	p, err := reg.PersonNamed(ctx, name)
	if err != nil {
		return "", err
	}
	secret = session.NewSecret()
	_, err = reg.Apply(ctx, m.Now(), byCommand(), register.Invite{PersonID: p.ID, Hash: session.HashSecret(secret), EndsAt: m.Now().Add(register.InvitationLasts)})
	return secret, err
}
