package session

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The bounds of a password, in letters. Length is what counts (NIST SP 800-63B
// wants 8 at least and 64 at most at least, from memory; 12 is a choice of
// ours), so no kinds of letters are asked for.
const (
	MinPassword = 12
	MaxPassword = 200
)

// Weakness says in one sentence why a password is not taken for somebody of
// those names; empty if it is.
func Weakness(password string, names ...string) string {
	p := Normal(password)
	n := utf8.RuneCountInString(p)
	bare := bareWord(p)
	switch {
	case n < MinPassword:
		return "This password is too short: take at least 12 letters. Four or five words that do not belong together are long and easy to keep in mind."
	case n > MaxPassword:
		return "This password is too long: at most 200 letters are taken."
	case strings.TrimSpace(p) == "":
		return "A password of spaces alone is not taken."
	case period(p) <= 4:
		return "This password is the same few letters again and again; choose another one."
	case isSequence(p):
		return "This password is a row of letters or digits as they follow each other; choose another one."
	case slices.Contains(common(), bare) || slices.Contains(common(), period1(bare)):
		return "This password is one that many people have, so it is tried first; choose another one."
	}
	for _, name := range names {
		if holdsName(p, name) {
			return "This password holds your name; choose another one."
		}
	}
	return ""
}

// PINWeakness says in one sentence why a PIN is not taken; empty if it is.
func PINWeakness(pin string) string {
	if len(pin) != 6 || strings.Trim(pin, "0123456789") != "" {
		return "A PIN is six digits."
	}
	if period(pin) <= 3 || isSequence(pin) || strings.Contains("159753 147258 123321 112233 102030 654123 123654", pin) {
		return "This PIN is one that many people have, such as 123456 or 121212; choose another one."
	}
	return ""
}

// period is the length of the shortest text that, written again and again and
// cut off, is s.
func period(s string) int {
	r := []rune(strings.ToLower(s))
	for p := 1; p < len(r); p++ {
		same := true
		for i := p; i < len(r) && same; i++ {
			same = r[i] == r[i-p]
		}
		if same {
			return p
		}
	}
	return max(1, len(r))
}

// period1 is the text that s repeats.
func period1(s string) string { return string([]rune(s)[:min(period(s), utf8.RuneCountInString(s))]) }

// isSequence reports whether s walks up or down the alphabet, the digits or a
// row of the keyboard.
func isSequence(s string) bool {
	s = strings.ToLower(s)
	for _, row := range []string{
		"01234567890123456789012345678901234567890", "abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz",
		"qwertyuiopasdfghjklzxcvbnm", "qwertzuiopasdfghjklyxcvbnm", "azertyuiopqsdfghjklmwxcvbn", "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
	} {
		if strings.Contains(row, s) || strings.Contains(reverse(row), s) {
			return true
		}
	}
	return false
}

func reverse(s string) string {
	r := []rune(s)
	slices.Reverse(r)
	return string(r)
}

// bareWord is what is left of a password without what people put before, behind
// and in place of letters to make a common one look better.
func bareWord(p string) string {
	p = strings.TrimFunc(strings.ToLower(p), func(r rune) bool { return !unicode.IsLetter(r) && !strings.ContainsRune("@$", r) })
	p = strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s").Replace(p)
	return strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) {
			return -1
		}
		return r
	}, p)
}

// holdsName reports whether a password holds a name, or a word of it that is
// long enough to be told by.
func holdsName(password, name string) bool {
	p := strings.ToLower(password)
	name, _, _ = strings.Cut(strings.ToLower(Normal(name)), "@")
	if utf8.RuneCountInString(name) >= 3 && strings.Contains(p, name) {
		return true
	}
	return slices.ContainsFunc(strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }), func(word string) bool {
		return utf8.RuneCountInString(word) >= 4 && strings.Contains(p, word)
	})
}

// common are words that passwords are made of often, compiled from memory: with
// digits and signs around them they are tried first.
func common() []string {
	return strings.Fields(`
		password passwort passwoord motdepasse contrasena contraseña passphrase passcode mypassword thepassword yourpassword newpassword changeme
		changemenow changeit letmein letmeinnow letmeinplease welcome welcomeback willkommen bienvenue admin administrator adminadmin root superuser
		user username guest default test testing tester testtest demo secret geheim topsecret nosecret access accessdenied login signin logmein
		qwerty qwertz azerty qwertyuiop qwertzuiop azertyuiop asdfgh asdfghjkl asdfasdf zxcvbn zxcvbnm yxcvbnm qazwsx qazwsxedc qwertyasdfgh
		qwertyqwerty abc abcd abcde abcdef abcdefg abcdefgh iloveyou iloveu loveyou lovely sunshine princess prinzessin football fussball baseball
		basketball soccer hockey dragon monkey master shadow michael jennifer jordan buster soldier killer whatever computer internet server
		database manager planner inspector fitter viewer hoseward hydraulic hydraulics hydraulik hydraulikschlauch schlauch hose hoses hosepipe
		machine maschine workshop werkstatt maintenance company firma office summer sommer winter spring fruehling frühling autumn herbst monday
		montag friday freitag january february march april june july august september october november december correcthorsebatterystaple
		correcthorse batterystaple hallo hello hellohello helloworld freedom blessed jesus cheese coffee kaffee chocolate schokolade banana orange
		purple yellow silver golden diamond flower blume butterfly schatz schatzi liebling abracadabra opensesame sesam sesamoeffnedich dortmund
		america germany deutschland england australia london berlin trustnoone`)
}
