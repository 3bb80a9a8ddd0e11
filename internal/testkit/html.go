// Package testkit holds what several packages' tests share: checks on HTML by
// selector and a browser. It is imported by tests only.
package testkit

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// Check is one thing that is to be true of a piece of HTML. Checks combine:
// In looks inside what a selector finds, All wants each of several.
type Check func(n *html.Node) error

// HTML parses a page and runs the checks on it; each that fails is an error of
// the test.
func HTML(t testing.TB, r io.Reader, checks ...Check) *html.Node {
	t.Helper()
	root, err := html.Parse(r)
	if err != nil {
		t.Fatalf("parse HTML: %v", err)
	}
	for _, c := range checks {
		if err := c(root); err != nil {
			t.Error(err)
		}
	}
	return root
}

// In runs the checks on the first element the selector finds.
func In(selector string, checks ...Check) Check {
	return func(n *html.Node) error {
		found := Find(n, selector)
		if len(found) == 0 {
			return fmt.Errorf("no %s", selector)
		}
		for _, c := range checks {
			if err := c(found[0]); err != nil {
				return fmt.Errorf("in %s: %w", selector, err)
			}
		}
		return nil
	}
}

// Has wants at least one element of the selector.
func Has(selector string) Check { return In(selector) }

// HasNot wants no element of the selector.
func HasNot(selector string) Check { return Count(selector, 0) }

// Count wants exactly n elements of the selector.
func Count(selector string, n int) Check {
	return func(node *html.Node) error {
		if found := len(Find(node, selector)); found != n {
			return fmt.Errorf("%d of %s, want %d", found, selector, n)
		}
		return nil
	}
}

// Text wants the text inside to hold the given one, runs of white space taken
// as one space.
func Text(want string) Check {
	return func(n *html.Node) error {
		if got := TextOf(n); !strings.Contains(got, want) {
			return fmt.Errorf("text %q lacks %q", clip(got), want)
		}
		return nil
	}
}

// NoText wants the text inside not to hold the given one.
func NoText(not string) Check {
	return func(n *html.Node) error {
		if got := TextOf(n); strings.Contains(got, not) {
			return fmt.Errorf("text %q holds %q", clip(got), not)
		}
		return nil
	}
}

// Attr wants the element itself to have the attribute with exactly the value.
func Attr(name, want string) Check {
	return func(n *html.Node) error {
		if got := AttrOf(n, name); got != want {
			return fmt.Errorf("%s is %q, want %q", name, got, want)
		}
		return nil
	}
}

// TextOf is the text inside an element, runs of white space as one space.
func TextOf(n *html.Node) string {
	var b strings.Builder
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.TextNode {
			b.WriteString(n.Data)
			b.WriteByte(' ')
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(n)
	return strings.Join(strings.Fields(b.String()), " ")
}

// AttrOf is the value of an attribute of an element, empty if it has none.
func AttrOf(n *html.Node, name string) string {
	v, _ := attr(n, name)
	return v
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// Find is every element below n that the selector means, in document order. A
// selector is one or more parts divided by spaces, each inside the one before:
// a tag, #id, .class, [attribute] or [attribute=value], or several of these
// together, such as input[name=on].wide. A selector that is none panics.
func Find(n *html.Node, selector string) []*html.Node {
	nodes := []*html.Node{n}
	for _, part := range strings.Fields(selector) {
		match := compile(part)
		var next []*html.Node
		seen := map[*html.Node]bool{}
		for _, root := range nodes {
			for d := range root.Descendants() {
				if d.Type == html.ElementNode && !seen[d] && match(d) {
					seen[d] = true
					next = append(next, d)
				}
			}
		}
		nodes = next
	}
	return nodes
}

func compile(part string) func(*html.Node) bool {
	var tests []func(*html.Node) bool
	rest := part
	for rest != "" {
		var token string
		token, rest = cutToken(rest)
		switch token[0] {
		case '#':
			tests = append(tests, func(n *html.Node) bool { return AttrOf(n, "id") == token[1:] })
		case '.':
			tests = append(tests, func(n *html.Node) bool {
				return strings.Contains(" "+AttrOf(n, "class")+" ", " "+token[1:]+" ")
			})
		case '[':
			name, want, valued := strings.Cut(strings.TrimSuffix(token[1:], "]"), "=")
			tests = append(tests, func(n *html.Node) bool {
				got, ok := attr(n, name)
				return ok && (!valued || got == want)
			})
		default:
			tests = append(tests, func(n *html.Node) bool { return n.Data == token })
		}
	}
	return func(n *html.Node) bool {
		for _, t := range tests {
			if !t(n) {
				return false
			}
		}
		return true
	}
}

func cutToken(s string) (token, rest string) {
	if s[0] == '[' {
		end := strings.IndexByte(s, ']')
		if end < 0 {
			panic("testkit: selector without ]: " + s)
		}
		return s[:end+1], s[end+1:]
	}
	for i := 1; i < len(s); i++ {
		if strings.IndexByte("#.[", s[i]) >= 0 {
			return s[:i], s[i:]
		}
	}
	return s, ""
}

func clip(s string) string {
	if len(s) > 300 {
		return s[:300] + "…"
	}
	return s
}
