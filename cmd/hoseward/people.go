package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"hoseward/internal/demo"
	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/internal/store"
)

// setUpSecret is the secret of the address of the first start, where nobody can
// sign in yet; empty where somebody can.
func setUpSecret(ctx context.Context, reg *store.Store) (string, error) {
	can, err := reg.AnyoneCanSignIn(ctx)
	if err != nil || can {
		return "", err
	}
	return session.NewSecret(), nil
}

// wayIn is what the console says, below the address, of how to get in: the
// address of the first start, or the passwords of the demo.
func wayIn(base, secret string, demoWays []demoWay) string {
	var b strings.Builder
	if secret != "" {
		fmt.Fprintf(&b, "First start: open %s/set-up/%s to add the first manager\n", base, secret)
	}
	if len(demoWays) > 0 {
		fmt.Fprintln(&b, "People of the demo, with passwords that count until the next start:")
		t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
		for _, w := range demoWays {
			fmt.Fprintf(t, "  %s\t%s\t%s\n", w.name, w.password, w.where)
		}
		_ = t.Flush() // into memory
	}
	return b.String()
}

// demoWay is a person of the demo with their password.
type demoWay struct{ name, password, where string }

// demoPeople adds the people of the demo that are not there, and gives each a
// new password.
func demoPeople(ctx context.Context, m *Main, reg *store.Store) ([]demoWay, error) {
	passwords := session.NewPasswords()
	var ways []demoWay
	for _, add := range demo.People() {
		by := register.Actor{PersonID: register.LocalPersonID, Origin: register.FromDemo}
		p, err := reg.PersonNamed(ctx, add.Name)
		if errors.Is(err, &register.Error{Code: register.NotFound}) {
			var r register.Result
			r, err = reg.Apply(ctx, m.Now(), by, add)
			p.ID = r.PersonID
		}
		if err != nil {
			return nil, fmt.Errorf("add %s to the demo: %w", add.Name, err)
		}
		way := demoWay{add.Name, demoPassword(), "all sites"}
		if site := add.Roles[0].Site; site != "" {
			way.where = site
		}
		hash, err := passwords.Hash(ctx, way.password)
		if err != nil {
			return nil, err
		}
		by.PersonID = p.ID
		if _, err := reg.Apply(ctx, m.Now(), by, register.ChoosePassword{Hash: hash}); err != nil {
			return nil, fmt.Errorf("give %s of the demo a password: %w", add.Name, err)
		}
		ways = append(ways, way)
	}
	return ways, nil
}

// demoPassword is a random password of 80 bits that can be typed.
func demoPassword() string {
	s := session.NewSecret()
	return s[:4] + "-" + s[4:8] + "-" + s[8:12] + "-" + s[12:16]
}
