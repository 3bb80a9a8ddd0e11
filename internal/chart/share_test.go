package chart_test

import (
	"encoding/xml"
	"strings"
	"testing"

	"hoseward/internal/chart"
)

func TestShares_DrawsEveryChangeAndNothingOutside(t *testing.T) {
	s := chart.Shares{ID: "k", Title: `A <b> "title"`, Desc: "D", Points: []chart.SharePoint{{y2018, 0.5}, {y2018 + 10, 0.5}, {y2018 + 20, 1.2}, {y2018 + 40, -1}}}
	got := s.SVG()
	for _, want := range []string{
		`x1="0.00%" y1="46" x2="25.00%" y2="46"`, // half, until the second look
		`x1="50.00%" y1="46" x2="50.00%" y2="8"`, // up to all, never above it
		`x1="100.00%" y1="8" x2="100.00%" y2="84"`,
		"A &lt;b&gt; &#34;title&#34;",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in\n%s", want, got)
		}
	}
	if err := xml.Unmarshal([]byte(got), new(struct{})); err != nil {
		t.Errorf("not well formed: %v\n%s", err, got)
	}
}

func TestShares_DrawsNothingOfOneDay(t *testing.T) {
	for _, points := range [][]chart.SharePoint{nil, {{y2018, 1}}, {{y2018, 1}, {y2018, 0.5}}} {
		if got := (chart.Shares{ID: "k", Points: points}).SVG(); got != "" {
			t.Errorf("%v: drawn %s", points, got)
		}
	}
}

func TestShares_ManyDaysStayASmallDrawing(t *testing.T) {
	var points []chart.SharePoint
	for i := range 5000 {
		points = append(points, chart.SharePoint{Day: y2018 + chart.Day(i), Share: float64(i) / 5000})
	}
	got := chart.Shares{ID: "k", Points: points}.SVG()
	if n := strings.Count(got, "<line"); n > 1000 || !strings.Contains(got, `x2="100.00%"`) {
		t.Errorf("%d lines", n)
	}
}
