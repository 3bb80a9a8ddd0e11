package chart

import (
	"fmt"
	"html"
	"strings"
)

// SharePoint is a share, 0 to 1, on a day.
type SharePoint struct {
	Day   Day
	Share float64
}

// Shares is a share over time as a line that keeps its value until the next
// point.
type Shares struct {
	ID          string // prefix of all ids; letters, digits and hyphens
	Title, Desc string
	Points      []SharePoint // in order of days
}

// The drawing's heights in pixels.
const (
	sharesHeight = 96
	sharesTop    = 8
	sharesBottom = 84
	// sharesMost is how many points are drawn; of more only every so many.
	sharesMost = 400
)

// SVG is the drawing as one <svg> element as wide as its container; empty for
// fewer than two days, of which no line can be drawn.
func (s Shares) SVG() string {
	if len(s.Points) < 2 || s.Points[0].Day >= s.Points[len(s.Points)-1].Day {
		return ""
	}
	axis := Axis{From: s.Points[0].Day, To: s.Points[len(s.Points)-1].Day}
	id := html.EscapeString(s.ID)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="strip shares" width="100%%" height="%d" role="img" aria-labelledby="%s-t %s-d" font-size="11" fill="none" stroke="currentColor">`, sharesHeight, id, id)
	fmt.Fprintf(&b, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, html.EscapeString(s.Title), id, html.EscapeString(s.Desc))
	for _, y := range []int{sharesTop, (sharesTop + sharesBottom) / 2, sharesBottom} {
		fmt.Fprintf(&b, `<line class="axis" x1="0" y1="%d" x2="100%%" y2="%d"/>`, y, y)
	}
	step := (len(s.Points) + sharesMost - 1) / sharesMost
	last := s.Points[0]
	for i := step; ; i += step {
		i = min(i, len(s.Points)-1)
		p := s.Points[i]
		from, to := pct(axis.at(last.Day)), pct(axis.at(p.Day))
		fmt.Fprintf(&b, `<line class="share" x1="%s" y1="%d" x2="%s" y2="%d" stroke-width="2"/>`, from, shareY(last.Share), to, shareY(last.Share))
		fmt.Fprintf(&b, `<line class="share" x1="%s" y1="%d" x2="%s" y2="%d" stroke-width="2"/>`, to, shareY(last.Share), to, shareY(p.Share))
		last = p
		if i == len(s.Points)-1 {
			break
		}
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// shareY is how high a share stands in the drawing.
func shareY(v float64) int {
	return sharesBottom - int(min(max(v, 0), 1)*(sharesBottom-sharesTop)+0.5)
}
