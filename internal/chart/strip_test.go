package chart_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/chart"
)

var update = flag.Bool("update", false, "write the golden files anew")

// Day numbers of the tests: 2018-01-01 is 736695 (0001-01-01 is day 1).
const y2018 = chart.Day(736695)

func axis() chart.Axis {
	return chart.Axis{From: y2018, To: y2018 + 17*365, Today: y2018 + 3251}
}

func TestStrip_Golden(t *testing.T) {
	for name, s := range map[string]chart.Strip{
		"running": {
			ID: "s1", Title: "K-0412", Desc: "Made 2020, due 2030.", Start: y2018 + 800, Fitted: y2018 + 900, Due: y2018 + 4400,
			Earliest: y2018 + 4300, Latest: y2018 + 4600, Inspections: []chart.Day{y2018 + 1300, y2018 + 1700}, Label: "calendar",
		},
		"overdue": {ID: "s2", Title: "K-0413", Desc: "Overdue.", Start: y2018 + 100, Due: y2018 + 2300, Earliest: y2018 + 2300, Latest: y2018 + 2300, Label: "pressure"},
		"beyond":  {ID: "s3", Title: "K-0414", Desc: "Due long after the axis.", Start: y2018, Due: y2018 + 9000, Earliest: y2018 + 8000, Latest: y2018 + 9900, Label: "heat", DueText: "2042-08-23"},
		"no date": {ID: "s4", Title: "K-0415", Desc: "No date.", Start: y2018, Label: "no date"},
	} {
		t.Run(name, func(t *testing.T) {
			got := s.SVG(axis())
			file := filepath.Join("testdata", strings.ReplaceAll(name, " ", "_")+".svg")
			if *update {
				if err := os.WriteFile(file, []byte(got+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != strings.TrimSuffix(string(want), "\n") {
				t.Errorf("%s differs from what is drawn; run with -update and look at it:\n%s", file, got)
			}
		})
	}
}

// What is drawn, read back from the drawing.
func TestStrip_ShowsWhatItIsGiven(t *testing.T) {
	a := axis()
	base := chart.Strip{ID: "p", Title: "T", Desc: "D", Start: y2018 + 365, Due: y2018 + 4000, Earliest: y2018 + 3900, Latest: y2018 + 4100, Label: "hours"}
	with := func(change func(*chart.Strip)) chart.Strip { s := base; change(&s); return s }
	for _, c := range []struct {
		promise string
		strip   chart.Strip
		has     []string
		hasNot  []string
	}{
		{"it is an image with a title and a description", base, []string{`role="img"`, `aria-labelledby="p-t p-d"`, `<title id="p-t">T</title>`, `<desc id="p-d">D</desc>`}, nil},
		{"what is consumed is hatched", base, []string{`class="used"`, `fill="url(#p-h)"`}, []string{`class="over"`}},
		{"today has a notch", base, []string{`class="today"`}, nil},
		{"the governing clock stands at the end", base, []string{`class="clock"`, `>hours</text>`}, nil},
		{"the band is a bracket of three lines", base, []string{`class="band"`}, nil},
		{"each inspection has a tick", with(func(s *chart.Strip) { s.Inspections = []chart.Day{y2018 + 500, y2018 + 900} }), []string{`class="inspection"`}, nil},
		{"an overdue one is crossed past its end", with(func(s *chart.Strip) { s.Due = y2018 + 2000 }), []string{`class="over"`, `fill="url(#p-x)"`}, nil},
		{"a date beyond the axis ends in an arrow with the date", with(func(s *chart.Strip) { s.Due, s.DueText = y2018+20*365, "2037-12-27" }), []string{`class="arrow"`, "hours → 2037-12-27"}, []string{`class="due"`}},
		{"without a date the bar is dashed and has no end", with(func(s *chart.Strip) { s.Due = 0 }), []string{`stroke-dasharray`}, []string{`class="due"`, `class="band"`, `class="arrow"`}},
		{"text is escaped", with(func(s *chart.Strip) { s.Title, s.Desc, s.Label = `<script>`, `"&`, `</svg>` }), []string{"&lt;script&gt;", "&#34;&amp;", "&lt;/svg&gt;"}, []string{"<script>"}},
		{"an unknown start draws no bar", with(func(s *chart.Strip) { s.Start = 0 }), nil, []string{`class="bar"`, `class="used"`}},
	} {
		t.Run(c.promise, func(t *testing.T) {
			svg := c.strip.SVG(a)
			for _, part := range c.has {
				if !strings.Contains(svg, part) {
					t.Errorf("no %s in %s", part, svg)
				}
			}
			for _, part := range c.hasNot {
				if strings.Contains(svg, part) {
					t.Errorf("unexpected %s in %s", part, svg)
				}
			}
		})
	}
	if n := strings.Count(with(func(s *chart.Strip) { s.Inspections = []chart.Day{y2018 + 500, y2018 + 900} }).SVG(a), `class="inspection"`); n != 2 {
		t.Errorf("two inspections give %d ticks", n)
	}
}

// Years are written at their first of January: 2020-01-01 is 730 days after
// 2018-01-01 on an axis of 6205 days.
func TestStrip_YearsStandAtTheirFirstDay(t *testing.T) {
	svg := chart.Strip{ID: "p"}.SVG(axis())
	if !strings.Contains(svg, `x="11.76%" y="57" dx="2" fill="currentColor" stroke="none">2020</text>`) {
		t.Errorf("2020 is not at 11.76%%: %s", svg)
	}
}

// Any days at all give one well-formed element whose places lie within it,
// without styles.
func TestStrip_AnyInputIsWellFormed(t *testing.T) {
	day := rapid.Custom(func(t *rapid.T) chart.Day { return chart.Day(rapid.IntRange(-10, 3652059).Draw(t, "day")) })
	rapid.Check(t, func(t *rapid.T) {
		s := chart.Strip{
			ID: "x", Title: rapid.String().Draw(t, "title"), Label: rapid.StringMatching(`[a-z<>&"']*`).Draw(t, "label"),
			Start: day.Draw(t, "start"), Fitted: day.Draw(t, "fitted"), Due: day.Draw(t, "due"), Earliest: day.Draw(t, "earliest"),
			Latest: day.Draw(t, "latest"), Inspections: rapid.SliceOfN(day, 0, 4).Draw(t, "inspections"),
		}
		s.Title = strings.ToValidUTF8(strings.Map(printable, s.Title), "")
		a := chart.Axis{From: day.Draw(t, "from"), To: day.Draw(t, "to"), Today: day.Draw(t, "today")}
		svg := s.SVG(a)
		if strings.Contains(svg, "style=") || strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Fatalf("style, NaN or Inf in %s", svg)
		}
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("not well-formed: %v in %s", err, svg)
			}
			e, ok := token.(xml.StartElement)
			if !ok {
				continue
			}
			for _, attr := range e.Attr {
				if attr.Name.Local == "width" && strings.HasPrefix(attr.Value, "-") {
					t.Fatalf("negative width in %s", svg)
				}
			}
		}
		if len(svg) > 60000 {
			t.Fatalf("%d bytes for one strip", len(svg))
		}
	})
}

func printable(r rune) rune {
	if r < 0x20 || r == 0xFFFE || r == 0xFFFF {
		return -1
	}
	return r
}
