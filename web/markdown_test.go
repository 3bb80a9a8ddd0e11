package web_test

import (
	"strings"
	"testing"

	"golang.org/x/net/html"

	"hoseward/web"
)

func TestMarkdown_RendersWhatTheManualUses(t *testing.T) {
	for _, c := range [...]struct{ what, text, want string }{
		{"a paragraph of two lines", "one\ntwo\n", "<p>one\ntwo</p>\n"},
		{"a heading has an anchor", "## First steps", "<h2 id=\"first-steps\">First steps</h2>\n"},
		{"a list with a continued item", "- one\n  more\n- two", "<ul>\n<li>one\nmore</li>\n<li>two</li>\n</ul>\n"},
		{"a numbered list", "1. one\n2. two", "<ol>\n<li>one</li>\n<li>two</li>\n</ol>\n"},
		{"code, bold and a link", "`a*b*` **c** [d](/due)", "<p><code>a*b*</code> <strong>c</strong> <a href=\"/due\">d</a></p>\n"},
		{"fenced code is left alone", "```\n- a <b>\n```\nx", "<pre tabindex=\"0\"><code>- a &lt;b&gt;</code></pre>\n<p>x</p>\n"},
		{"HTML is text", "<script>alert(1)</script>", "<p>&lt;script&gt;alert(1)&lt;/script&gt;</p>\n"},
		{"a link that is a script stays text", "[x](javascript:alert(1))", "<p>[x](javascript:alert(1))</p>\n"},
		{"a link cannot leave its attribute", `[x](/a"onclick=y)`, "<p>[x](/a&#34;onclick=y)</p>\n"},
	} {
		if got := string(web.Markdown([]byte(c.text))); got != c.want {
			t.Errorf("%s:\n got %q\nwant %q", c.what, got, c.want)
		}
	}
	table := string(web.Markdown([]byte("| a | b |\n|---|---|\n| 1 | `2` |\n")))
	if !strings.Contains(table, `<th scope="col">a</th>`) || !strings.Contains(table, `<td data-label="b"><span><code>2</code></span></td>`) || strings.Contains(table, "---") {
		t.Errorf("table: %s", table)
	}
}

// Whatever is given comes back with an end, and holds no element that the
// manual does not use.
func FuzzMarkdown(f *testing.F) {
	for _, s := range []string{"## a\n\nb", "- a\n  b", "|a|b|\n|-|-|\n|1|", "```\nx", "`**[a](/b)`", "1. x\n\n2. y"} {
		f.Add(s)
	}
	allowed := map[string]bool{}
	for _, e := range strings.Fields("html head body p h2 h3 ul ol li table thead tbody tr th td span pre code strong a") {
		allowed[e] = true
	}
	f.Fuzz(func(t *testing.T, s string) {
		root, err := html.Parse(strings.NewReader(string(web.Markdown([]byte(s)))))
		if err != nil {
			t.Fatal(err)
		}
		for n := range root.Descendants() {
			if n.Type == html.ElementNode && !allowed[n.Data] {
				t.Fatalf("%q gave <%s>", s, n.Data)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "href" && strings.HasPrefix(a.Val, "javascript") {
					t.Fatalf("%q gave %s=%q", s, a.Key, a.Val)
				}
			}
		}
	})
}

func TestManual_EveryPageHasATitleAndText(t *testing.T) {
	pages, err := web.Manual()
	if err != nil {
		t.Fatal(err)
	}
	if len(pages) < 5 {
		t.Fatalf("%d pages of the manual", len(pages))
	}
	for _, p := range pages {
		if p.Name == "" || p.Title == "" || strings.HasPrefix(p.Title, "#") || len(p.Text) < 200 {
			t.Errorf("page %q: title %q, %d bytes of text", p.Name, p.Title, len(p.Text))
		}
	}
}
