package session_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/server/session"
)

func TestPasswords_MatchTheirOwnHashOnly(t *testing.T) {
	p := session.NewPasswords()
	hash, err := p.Hash(t.Context(), "five loose gravel boats")
	if err != nil {
		t.Fatal(err)
	}
	again, err := p.Hash(t.Context(), "five loose gravel boats")
	if err != nil || hash == again {
		t.Errorf("the same password twice gives the same hash, so a table of hashes would find it: %v", err)
	}
	// OWASP, Password Storage Cheat Sheet (from memory): argon2id with at least
	// 19 MiB, 2 passes, 1 lane.
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=47104,t=2,p=1$") {
		t.Errorf("the hash is made by %s", hash[:strings.LastIndexByte(hash[:40], '$')])
	}
	for _, c := range []struct {
		why, password, hash string
		want                bool
	}{
		{"the password", "five loose gravel boats", hash, true},
		{"another one", "five loose gravel boat", hash, false},
		{"capitals differ", "Five loose gravel boats", hash, false},
		{"spaces count", "five loose gravel boats ", hash, false},
		{"nothing", "", hash, false},
		{"the hash itself", hash, hash, false},
		{"nobody's password", "five loose gravel boats", "", false},
	} {
		got, err := p.Matches(t.Context(), c.password, c.hash)
		if err != nil || got != c.want {
			t.Errorf("%s: %v, %v", c.why, got, err)
		}
	}
	if _, err := p.Matches(t.Context(), "x", "not a hash"); err == nil {
		t.Error("a hash that is none is no error")
	}
}

func TestPasswords_AreTheSameOnEveryKeyboard(t *testing.T) {
	p := session.NewPasswords()
	hash, err := p.Hash(t.Context(), "Gru\u0308ne Ka\u0308fer singen") // u and a with a mark of their own
	if err != nil {
		t.Fatal(err)
	}
	if ok, err := p.Matches(t.Context(), "Gr\u00fcne K\u00e4fer singen", hash); !ok || err != nil {
		t.Errorf("composed letters are another password: %v, %v", ok, err)
	}
}

// Nobody's password takes as long as somebody's: it is held to a hash that
// costs the same. Times are not compared: other work on the machine shows in
// them more than anything here.
func TestPasswords_NobodysCostsAsMuch(t *testing.T) {
	p := session.NewPasswords()
	hash, err := p.Hash(t.Context(), "five loose gravel boats")
	if err != nil {
		t.Fatal(err)
	}
	somebody, nobody := strings.Split(hash, "$"), strings.Split(session.Decoy(p), "$")
	if len(nobody) != 6 || !slices.Equal(somebody[:4], nobody[:4]) || len(somebody[4]) != len(nobody[4]) || len(somebody[5]) != len(nobody[5]) {
		t.Errorf("somebody's is held to %v, nobody's to %v", somebody, nobody)
	}
	if session.Decoy(p) == session.Decoy(session.NewPasswords()) {
		t.Error("the hash of nobody's is the same everywhere")
	}
	if ok, err := p.Matches(t.Context(), "", session.Decoy(p)); ok || err != nil { // it is a hash that can be compared
		t.Errorf("%v, %v", ok, err)
	}
}

func TestPasswords_AFloodWaitsAndGivesUp(t *testing.T) {
	p := session.NewPasswords()
	ctx, cancel := context.WithCancel(t.Context())
	release := session.TakeAll(p)
	cancel()
	if _, err := p.Hash(ctx, "x"); !errors.Is(err, context.Canceled) {
		t.Errorf("whoever gave up still waits: %v", err)
	}
	release()
	if _, err := p.Hash(t.Context(), "x"); err != nil {
		t.Errorf("after the flood: %v", err)
	}
}

func TestWeakness_WhatIsTriedFirstIsNotTaken(t *testing.T) {
	for _, c := range []struct{ why, password, holds string }{
		{"eleven letters", "elevenlettr", "too short"},
		{"nothing", "", "too short"},
		{"letters are counted, not bytes", "äöüäöüäöüäö", "too short"},
		{"more than two hundred", strings.Repeat("gravel boats ", 16), "too long"},
		{"one letter", "aaaaaaaaaaaa", "same few letters"},
		{"one letter in capitals too", "aAaAaAaAaAaA", "same few letters"},
		{"two letters in turn", "abababababab", "same few letters"},
		{"spaces", "            ", "of spaces"},
		{"digits as they follow", "123456789012", "row of letters"},
		{"the other way", "210987654321", "row of letters"},
		{"the alphabet", "abcdefghijklm", "row of letters"},
		{"a row of keys", "qwertyuiopas", "row of letters"},
		{"a row of keys, German", "qwertzuiopas", "row of letters"},
		{"a common word with digits", "password1234", "many people have"},
		{"letters put for others", "P@$$w0rd2026!", "many people have"},
		{"digits on both sides", "2026password2026", "many people have"},
		{"a common word twice", "passwordpassword", "many people have"},
		{"what this program is called", "hoseward2026!", "many people have"},
		{"what it is about", "Hydraulik2026", "many people have"},
		{"a season with a year", "sommer2026!!!!!", "many people have"},
		{"the own name", "A.Moor is here now", "your name"},
		{"a word of the own name", "the moors of Northmoor", "your name"},
		{"the own address of mail", "fieldmouse42 x", "your name"},
		{"a sentence", "five loose gravel boats", ""},
		{"with accents", "grüne käfer singen", ""},
		{"with spaces and signs", " 7! tin  cup; owl ", ""},
		{"no capitals or digits are asked for", "wooden shelf river", ""},
		{"two hundred letters", strings.Repeat("gravel boats ", 15)[:190] + "0123456 xy", ""},
	} {
		got := session.Weakness(c.password, "A.Moor", "Northmoor Lee", "fieldmouse42@example.org")
		if c.holds == "" && got != "" || c.holds != "" && !strings.Contains(got, c.holds) {
			t.Errorf("%s (%q): %q, want %q", c.why, c.password, got, c.holds)
		}
		if c.password != "" && len(c.password) > 3 && strings.Contains(got, c.password) {
			t.Errorf("%s: the sentence holds the password", c.why)
		}
	}
}

func TestPINWeakness_WhatIsTriedFirstIsNotTaken(t *testing.T) {
	for _, c := range []struct {
		pin string
		ok  bool
	}{
		{"493817", true},
		{"040719", true},
		{"", false},
		{"12345", false},
		{"1234567", false},
		{"12345a", false},
		{"١٢٣٤٥٦", false},
		{"      ", false},
		{"-12345", false},
		{"000000", false},
		{"123456", false},
		{"654321", false},
		{"121212", false},
		{"123123", false},
		{"111222", true},
		{"890123", false},
		{"159753", false},
		{"112233", false},
	} {
		if got := session.PINWeakness(c.pin); (got == "") != c.ok {
			t.Errorf("%q: %q", c.pin, got)
		}
	}
}

func TestSecrets_AreLongAndNeverTheSame(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		s := session.NewSecret()
		if len(s) != 52 || seen[s] || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz234567") != "" { // 256 bits, five a letter
			t.Fatalf("secret %q", s)
		}
		seen[s] = true
	}
	// SHA-256 of "abc": FIPS 180-4, example of one block.
	if got := session.HashSecret("abc"); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("the hash of a secret is %s", got)
	}
}
