package web

import (
	"fmt"
	"html"
	"html/template"
	"regexp"
	"strings"
)

// Markdown renders the part of Markdown that the manual is written in:
// headings (##, ###), paragraphs, lists (-, 1.), tables with a header row,
// fenced code, and in text `code`, **bold** and [links](address). Everything
// else, HTML included, comes out as the text it is.
func Markdown(text []byte) template.HTML {
	var b strings.Builder
	lines := strings.Split(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n")
	for i := 0; i < len(lines); {
		i += block(&b, lines[i:])
	}
	return template.HTML(b.String()) //nolint:gosec // every text went through inline or EscapeString
}

// block renders the block that begins at lines[0] and returns how many lines
// it took, at least one.
func block(b *strings.Builder, lines []string) int {
	line := lines[0]
	switch {
	case strings.TrimSpace(line) == "":
		return 1
	case strings.HasPrefix(line, "```"):
		n := run(lines[1:], func(l string) bool { return !strings.HasPrefix(l, "```") })
		fmt.Fprintf(b, "<pre tabindex=\"0\"><code>%s</code></pre>\n", html.EscapeString(strings.Join(lines[1:1+n], "\n")))
		return min(n+2, len(lines))
	case strings.HasPrefix(line, "### "):
		fmt.Fprintf(b, "<h3>%s</h3>\n", inline(line[4:]))
		return 1
	case strings.HasPrefix(line, "## "):
		fmt.Fprintf(b, "<h2 id=\"%s\">%s</h2>\n", anchor(line[3:]), inline(line[3:]))
		return 1
	case strings.HasPrefix(line, "|"):
		n := run(lines, func(l string) bool { return strings.HasPrefix(l, "|") })
		table(b, lines[:n])
		return n
	case isItem(line):
		return list(b, lines)
	}
	n := max(1, run(lines, func(l string) bool {
		return strings.TrimSpace(l) != "" && !isItem(l) && !strings.HasPrefix(l, "|") && !strings.HasPrefix(l, "```") && !strings.HasPrefix(l, "## ") && !strings.HasPrefix(l, "### ")
	}))
	fmt.Fprintf(b, "<p>%s</p>\n", inline(strings.Join(lines[:n], "\n")))
	return n
}

// run counts the lines at the start for which ok holds.
func run(lines []string, ok func(string) bool) int {
	for i, l := range lines {
		if !ok(l) {
			return i
		}
	}
	return len(lines)
}

var numbered = regexp.MustCompile(`^\d+\. `)

func isItem(line string) bool { return strings.HasPrefix(line, "- ") || numbered.MatchString(line) }

// list renders items, each with the indented lines that follow it.
func list(b *strings.Builder, lines []string) int {
	tag := "ul"
	if numbered.MatchString(lines[0]) {
		tag = "ol"
	}
	fmt.Fprintf(b, "<%s>\n", tag)
	i := 0
	for i < len(lines) && isItem(lines[i]) {
		n := run(lines[i+1:], func(l string) bool { return strings.HasPrefix(l, "  ") })
		item := lines[i][strings.Index(lines[i], " ")+1:]
		for _, l := range lines[i+1 : i+1+n] {
			item += "\n" + strings.TrimSpace(l)
		}
		fmt.Fprintf(b, "<li>%s</li>\n", inline(item))
		i += n + 1
	}
	fmt.Fprintf(b, "</%s>\n", tag)
	return i
}

// table renders a header row, a row of dashes, and the rows below.
func table(b *strings.Builder, lines []string) {
	head := cells(lines[0])
	b.WriteString("<table class=\"rows\"><thead><tr>")
	for _, c := range head {
		fmt.Fprintf(b, "<th scope=\"col\">%s</th>", inline(c))
	}
	b.WriteString("</tr></thead><tbody>\n")
	for _, l := range lines[1:] {
		row := cells(l)
		if strings.Trim(strings.Join(row, ""), "-: ") == "" {
			continue
		}
		b.WriteString("<tr>")
		for i, c := range row {
			label := ""
			if i < len(head) {
				label = html.EscapeString(strings.NewReplacer("`", "", "*", "").Replace(head[i]))
			}
			fmt.Fprintf(b, "<td data-label=\"%s\"><span>%s</span></td>", label, inline(c))
		}
		b.WriteString("</tr>\n")
	}
	b.WriteString("</tbody></table>\n")
}

func cells(line string) []string {
	line = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSpace(line), "|"), "|")
	parts := strings.Split(line, "|")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return parts
}

var (
	bold = regexp.MustCompile(`\*\*([^*\n]+)\*\*`)
	// link takes addresses on this server and of the web, nothing else.
	link = regexp.MustCompile(`\[([^\]\n]+)\]\(((?:/|https://|#)[^)\s&"]*)\)`)
)

// inline renders code, bold and links; inside code nothing else is looked for.
func inline(text string) string {
	var b strings.Builder
	for i, part := range strings.Split(text, "`") {
		part = html.EscapeString(part)
		if i%2 == 1 {
			b.WriteString("<code>" + part + "</code>")
			continue
		}
		part = bold.ReplaceAllString(part, "<strong>$1</strong>")
		b.WriteString(link.ReplaceAllString(part, `<a href="$2">$1</a>`))
	}
	return b.String()
}

var notWord = regexp.MustCompile(`[^a-z0-9]+`)

func anchor(heading string) string {
	return strings.Trim(notWord.ReplaceAllString(strings.ToLower(heading), "-"), "-")
}
