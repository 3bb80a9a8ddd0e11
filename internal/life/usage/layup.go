package usage

import (
	"fmt"
	"slices"
	"sort"

	"hoseward/internal/quantity"
)

// span is the days from from up to, not including, to.
type span struct{ from, to int }

// idle are the days laid up: spans in order that neither overlap nor touch.
type idle []span

// idleDays merges the lay-ups of the series. One without an end ends on asOf.
func (s *Series) idleDays(asOf quantity.Date) (idle, error) {
	if len(s.LaidUp) == 0 {
		return nil, nil
	}
	spans := make(idle, 0, len(s.LaidUp))
	for i, l := range s.LaidUp {
		if l.From.IsZero() {
			return nil, &SeriesError{fieldLaidUp, i, l.To, "the lay-up has no first day; enter it", ErrDate}
		}
		to := l.To
		if to.IsZero() {
			to = asOf
		} else if to.Before(l.From) {
			return nil, &SeriesError{fieldLaidUp, i, l.From, fmt.Sprintf("the lay-up ends on %s, before it begins on %s; correct one of them", to, l.From), ErrDate}
		}
		if to.After(l.From) {
			spans = append(spans, span{l.From.DayNumber(), to.DayNumber()})
		}
	}
	slices.SortFunc(spans, func(a, b span) int {
		if a.from != b.from {
			return a.from - b.from
		}
		return a.to - b.to
	})
	merged := spans[:0]
	for _, x := range spans {
		if n := len(merged); n > 0 && x.from <= merged[n-1].to {
			merged[n-1].to = max(merged[n-1].to, x.to)
			continue
		}
		merged = append(merged, x)
	}
	return merged, nil
}

// clock counts days out of lay-up. It is built once from idle days.
type clock struct {
	idle  idle
	lost  []int // idle days before span i
	total int
}

func newClock(spans idle) clock {
	c := clock{idle: spans}
	if len(spans) > 0 {
		c.lost = make([]int, len(spans))
		for i, s := range spans {
			c.lost[i] = c.total
			c.total += s.to - s.from
		}
	}
	return c
}

// active is the number of days out of lay-up before day, counted from day 0.
func (c *clock) active(day int) int {
	if len(c.idle) == 0 {
		return day
	}
	i := sort.Search(len(c.idle), func(i int) bool { return c.idle[i].to > day })
	if i == len(c.idle) {
		return day - c.total
	}
	return day - c.lost[i] - max(0, day-c.idle[i].from)
}

// without is the idle days but for those in cut.
func (spans idle) without(cut span) idle {
	out := make(idle, 0, len(spans)+1)
	for _, s := range spans {
		if s.to <= cut.from || s.from >= cut.to {
			out = append(out, s)
			continue
		}
		if s.from < cut.from {
			out = append(out, span{s.from, cut.from})
		}
		if s.to > cut.to {
			out = append(out, span{cut.to, s.to})
		}
	}
	return out
}
