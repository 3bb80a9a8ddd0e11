package chart

import (
	"fmt"
	"html"
	"strconv"
	"strings"
	"time"
)

// Day counts days so that 1 is 0001-01-01 and consecutive days differ by 1.
// 0 means "no day".
type Day int

// Axis is the stretch of time that strips share. From must be before To;
// Today is marked with a notch.
type Axis struct{ From, To, Today Day }

// Strip is the life of one thing as a horizontal bar: hatched where it is
// consumed, with a tick per inspection and a bracket round the day it is to
// end. Days that are 0 are left out.
type Strip struct {
	ID    string // prefix of all ids; letters, digits and hyphens
	Title string
	Desc  string // what the drawing shows, for those who do not see it

	Start       Day // first day of the bar
	Fitted      Day
	Due         Day
	Earliest    Day
	Latest      Day
	Inspections []Day

	Label   string // what ends it, written at its end
	DueText string // the day it ends, written when it lies beyond the axis
}

// The drawing's heights in pixels.
const (
	stripHeight = 62
	labelBase   = 12
	barTop      = 19
	barHeight   = 14
	barBottom   = barTop + barHeight
	bracketY    = barBottom + 8
	axisY       = 47
	yearBase    = 60
)

// SVG is the strip on the axis a as one <svg> element as wide as its
// container. An axis of no length is taken as one day long.
func (s Strip) SVG(a Axis) string {
	if a.To <= a.From {
		a.To = a.From + 1
	}
	var b strings.Builder
	id := html.EscapeString(s.ID)
	fmt.Fprintf(&b, `<svg class="strip" width="100%%" height="%d" role="img" aria-labelledby="%s-t %s-d" font-size="11" fill="none" stroke="currentColor">`, stripHeight, id, id)
	fmt.Fprintf(&b, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, html.EscapeString(s.Title), id, html.EscapeString(s.Desc))
	fmt.Fprintf(&b, `<defs><pattern id="%s-h" width="6" height="6" patternUnits="userSpaceOnUse"><path d="M-1 1L1 -1M0 6L6 0M5 7L7 5" stroke="currentColor" stroke-width="1"/></pattern>`, id)
	fmt.Fprintf(&b, `<pattern id="%s-x" width="4" height="4" patternUnits="userSpaceOnUse"><path d="M0 0L4 4M0 4L4 0" stroke="currentColor" stroke-width="1"/></pattern></defs>`, id)
	a.years(&b)
	s.bar(&b, a)
	s.marks(&b, a)
	s.bracket(&b, a)
	s.label(&b, a)
	b.WriteString(`</svg>`)
	return b.String()
}

// at is the place of a day on the axis in per cent, kept inside it.
func (a Axis) at(d Day) float64 {
	p := 100 * float64(d-a.From) / float64(a.To-a.From)
	return min(max(p, 0), 100)
}

func pct(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) + "%" }

// years draws a tick for each new year and writes every second, fifth, ... of
// them so that at most eight are written; on narrow screens the style sheet
// hides those of class minor.
func (a Axis) years(b *strings.Builder) {
	first, last := yearOf(a.From)+1, yearOf(a.To)
	step := 1
	for _, step = range [...]int{1, 2, 5, 10, 20, 50, 100, 500, 5000} {
		if (last-first)/step < 8 {
			break
		}
	}
	fmt.Fprintf(b, `<line class="axis" x1="0" y1="%d" x2="100%%" y2="%d"/>`, axisY, axisY)
	written := 0
	for y := first; y <= last; y++ {
		if (last-first) > 60 && y%step != 0 {
			continue
		}
		x := pct(a.at(newYear(y)))
		length := 3
		if y%step == 0 {
			length = 5
		}
		fmt.Fprintf(b, `<line class="axis" x1="%s" y1="%d" x2="%s" y2="%d"/>`, x, axisY-length, x, axisY)
		if p := a.at(newYear(y)); y%step == 0 && p < 94 {
			class := "year"
			if written%2 == 1 {
				class = "year minor"
			}
			written++
			fmt.Fprintf(b, `<text class="%s" x="%s" y="%d" dx="2" fill="currentColor" stroke="none">%d</text>`, class, x, yearBase-3, y)
		}
	}
}

// end is the last day of the bar that can be drawn, and whether the bar goes
// on beyond the axis or has no end at all.
func (s Strip) end(a Axis) (end Day, open bool) {
	last := max(s.Due, s.Latest)
	switch {
	case s.Due == 0:
		return a.To, true
	case s.Due > a.To:
		return a.To, true
	case last > a.To:
		return a.To, false
	}
	return s.Due, false
}

// bar draws the bar: hatched up to today, crossed where it went on past its
// end, an outline to its end, an arrow where that lies beyond the axis.
func (s Strip) bar(b *strings.Builder, a Axis) {
	start := s.Start
	if start == 0 || start > a.To {
		return
	}
	from := a.at(start)
	end := s.Due
	if s.Due == 0 || s.Due > a.To {
		end = a.To
	}
	used := min(a.Today, end)
	if used > start {
		rect(b, "used", from, a.at(used), "url(#"+html.EscapeString(s.ID)+"-h)", "")
	}
	if a.Today > end && s.Due != 0 {
		rect(b, "over", a.at(end), a.at(a.Today), "url(#"+html.EscapeString(s.ID)+"-x)", "")
	}
	dash := ""
	if s.Due == 0 {
		dash = ` stroke-dasharray="5 4"`
	}
	rect(b, "bar", from, a.at(max(end, min(a.Today, a.To))), "none", dash)
	if s.Due > a.To {
		mark(b, 100, fmt.Sprintf(`<path class="arrow" d="M-9 %dL0 %dL-9 %d" stroke-width="2"/>`, barTop-2, barTop+barHeight/2, barBottom+2))
	}
}

func rect(b *strings.Builder, class string, from, to float64, fill, more string) {
	fmt.Fprintf(b, `<rect class="%s" x="%s" y="%d" width="%s" height="%d" fill="%s"%s/>`,
		class, pct(from), barTop, pct(max(to-from, 0)), barHeight, fill, more)
}

// mark places a drawing in pixels at a place in per cent.
func mark(b *strings.Builder, at float64, drawing string) {
	fmt.Fprintf(b, `<svg x="%s" y="0" width="1" height="%d" overflow="visible">%s</svg>`, pct(at), stripHeight, drawing)
}

// marks draws the fitting, the inspections and the notch for today.
func (s Strip) marks(b *strings.Builder, a Axis) {
	if s.Fitted != 0 && s.Fitted >= a.From && s.Fitted <= a.To {
		x := pct(a.at(s.Fitted))
		fmt.Fprintf(b, `<line class="fitted" x1="%s" y1="%d" x2="%s" y2="%d" stroke-width="2"/>`, x, barTop, x, barBottom)
	}
	for _, d := range s.Inspections {
		if d < a.From || d > a.To {
			continue
		}
		x := pct(a.at(d))
		fmt.Fprintf(b, `<line class="inspection" x1="%s" y1="%d" x2="%s" y2="%d" stroke-width="2"/>`, x, barBottom, x, barBottom+6)
	}
	if a.Today >= a.From && a.Today <= a.To {
		mark(b, a.at(a.Today), fmt.Sprintf(`<path class="today" d="M-5 %dL5 %dL0 %dZM0 %dL0 %d" fill="currentColor"/>`, barTop-6, barTop-6, barTop+2, barTop+2, axisY))
	}
}

// bracket draws earliest..latest under the bar and a heavy line at due.
func (s Strip) bracket(b *strings.Builder, a Axis) {
	if s.Due == 0 {
		return
	}
	if s.Due <= a.To {
		x := pct(a.at(s.Due))
		fmt.Fprintf(b, `<line class="due" x1="%s" y1="%d" x2="%s" y2="%d" stroke-width="3"/>`, x, barTop-3, x, barBottom+3)
	}
	if s.Earliest == 0 || s.Earliest > a.To {
		return
	}
	from, to := a.at(s.Earliest), 100.0
	fmt.Fprintf(b, `<line class="band" x1="%s" y1="%d" x2="%s" y2="%d"/>`, pct(from), bracketY-5, pct(from), bracketY)
	if s.Latest != 0 && s.Latest <= a.To {
		to = a.at(s.Latest)
		fmt.Fprintf(b, `<line class="band" x1="%s" y1="%d" x2="%s" y2="%d"/>`, pct(to), bracketY-5, pct(to), bracketY)
	}
	fmt.Fprintf(b, `<line class="band" x1="%s" y1="%d" x2="%s" y2="%d"/>`, pct(from), bracketY, pct(to), bracketY)
}

// label writes the governing clock over the end of the bar; to the left of it
// where the end is past the middle, so that it never leaves the drawing.
func (s Strip) label(b *strings.Builder, a Axis) {
	end, open := s.end(a)
	text := s.Label
	if open && s.DueText != "" {
		text = strings.TrimSpace(text + " → " + s.DueText)
	}
	if text == "" {
		return
	}
	at, anchor := a.at(end), "start"
	if at > 50 {
		anchor = "end"
	}
	fmt.Fprintf(b, `<text class="clock" x="%s" y="%d" text-anchor="%s" fill="currentColor" stroke="none">%s</text>`,
		pct(at), labelBase, anchor, html.EscapeString(text))
}

// yearOf is the calendar year of a day.
func yearOf(d Day) int { return epoch().AddDate(0, 0, int(d)-1).Year() }

// newYear is the first day of a year. Seconds are counted because a
// time.Duration ends after 292 years.
func newYear(y int) Day {
	return Day((time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC).Unix()-epoch().Unix())/86400) + 1
}

func epoch() time.Time { return time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC) }
