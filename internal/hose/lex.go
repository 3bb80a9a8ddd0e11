package hose

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// kind is the kind of a lexeme.
type kind byte

const (
	word   kind = iota // letters
	number             // digits, with points and commas between digits
	punct              // one other character
)

// lexeme is a smallest piece of a printed line. Letters and digits are cut
// apart, so 100R2AT-8 is 100, R, 2, AT, -, 8.
type lexeme struct {
	text  string // upper case
	kind  kind
	glued bool // nothing between it and the one before
	used  bool // has been read as something
}

func (l lexeme) is(words ...string) bool {
	for _, w := range words {
		if l.text == w {
			return true
		}
	}
	return false
}

// digits reports whether l is a plain number of n digits.
func (l lexeme) digits(n int) bool { return l.kind == number && len(l.text) == n && isDigits(l.text) }

func isDigits(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// lex cuts text into lexemes in one pass.
func lex(text string) []lexeme {
	t := plain(text)
	all := make([]lexeme, 0, len(t)/3+4)
	glued := false
	for i := 0; i < len(t); {
		c, n := utf8.DecodeRuneInString(t[i:])
		switch {
		case c == ' ':
			glued = false
			i += n
			continue
		case c >= '0' && c <= '9':
			n = numberLength(t[i:])
			all = append(all, lexeme{text: t[i : i+n], kind: number, glued: glued})
		case unicode.IsLetter(c):
			for i+n < len(t) {
				d, m := utf8.DecodeRuneInString(t[i+n:])
				if !unicode.IsLetter(d) {
					break
				}
				n += m
			}
			all = append(all, lexeme{text: t[i : i+n], kind: word, glued: glued})
		default:
			all = append(all, lexeme{text: t[i : i+n], kind: punct, glued: glued})
		}
		glued = true
		i += n
	}
	return initials(all)
}

// numberLength is the length of the number t begins with: digits, and points
// and commas that stand between digits.
func numberLength(t string) int {
	n := 0
	for n < len(t) {
		c := t[n]
		if c >= '0' && c <= '9' {
			n++
			continue
		}
		if (c == '.' || c == ',') && n+1 < len(t) && t[n+1] >= '0' && t[n+1] <= '9' {
			n += 2
			continue
		}
		break
	}
	return n
}

// plain brings a text to upper case, control characters to spaces and the
// many dashes, quotes and fractions to plain ones.
func plain(text string) string {
	var b strings.Builder
	b.Grow(len(text) + 8)
	for _, c := range text {
		switch {
		case c == utf8.RuneError || unicode.IsControl(c) || unicode.IsSpace(c) || unicode.Is(unicode.Cf, c):
			b.WriteByte(' ')
		case c < utf8.RuneSelf:
			if c >= 'a' && c <= 'z' {
				c -= 'a' - 'A'
			}
			b.WriteByte(byte(c))
		default:
			if p := plainRune(c); p != "" {
				b.WriteString(p)
				continue
			}
			b.WriteRune(unicode.ToUpper(c))
		}
	}
	return strings.ReplaceAll(b.String(), "''", `"`)
}

func plainRune(c rune) string {
	switch c {
	case '‐', '‑', '‒', '–', '—', '―', '−':
		return "-"
	case '″', '“', '”', '„', '‟':
		return `"`
	case '′', '’', '‘':
		return "'"
	case '⁄', '∕':
		return "/"
	case '½':
		return " 1/2"
	case '¼':
		return " 1/4"
	case '¾':
		return " 3/4"
	case '⅜':
		return " 3/8"
	case '⅝':
		return " 5/8"
	}
	return ""
}

// initials joins W.P. to WP and the like.
func initials(all []lexeme) []lexeme {
	out := all[:0]
	for i := 0; i < len(all); i++ {
		l := all[i]
		if l.kind == word && len(l.text) == 1 {
			for i+2 < len(all) && all[i+1].text == "." && all[i+1].glued &&
				all[i+2].kind == word && all[i+2].glued && len(all[i+2].text) == 1 && len(l.text) < 5 {
				l.text += all[i+2].text
				i += 2
			}
			if len(l.text) > 1 && i+1 < len(all) && all[i+1].text == "." {
				i++
			}
		}
		out = append(out, l)
	}
	return out
}

// clip shortens text for a message.
func clip(s string) string {
	const most = 40
	n := 0
	for i := range s {
		if n == most {
			return s[:i] + "…"
		}
		n++
	}
	return s
}
