package store

import (
	"context"
	"strings"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// days knows the day it is at every site. Status is not stored: queries
// compare dates with each site's today, which has two or three values at most.
type days struct {
	e           *engine
	sites       map[int64]register.Site
	today       map[int64]quantity.Date
	first, last quantity.Date
	// differ: it is not the same day everywhere, so that queries need the
	// machine, called m, for its site.
	differ bool
}

func (s *Store) days(ctx context.Context, now time.Time) (*days, error) {
	d := &days{e: s.e, sites: map[int64]register.Site{}, today: map[int64]quantity.Date{}}
	err := sites.each(ctx, s.reader(), "", nil, func(r *register.Site) error {
		d.sites[r.ID] = *r
		on := quantity.DateOf(now, zone(r.Zone))
		d.today[r.ID] = on
		if d.first.IsZero() || on.Before(d.first) {
			d.first = on
		}
		if on.After(d.last) {
			d.last = on
		}
		return nil
	})
	if d.first.IsZero() {
		d.first = quantity.DateOf(now, time.UTC)
		d.last = d.first
	}
	d.differ = d.first != d.last
	return d, err
}

// day is an expression for so many days after today at the site of machine m.
func (d *days) day(offset int) string {
	if !d.differ {
		return d.e.date(d.first.AddDays(offset))
	}
	bySite := map[quantity.Date][]int64{}
	for id, on := range d.today {
		bySite[on] = append(bySite[on], id)
	}
	var b strings.Builder
	b.WriteString("CASE")
	for on := d.first; on.Before(d.last); on = on.AddDays(1) {
		if list := bySite[on]; len(list) > 0 {
			b.WriteString(" WHEN m.site_id IN (" + idList(list) + ") THEN " + d.e.date(on.AddDays(offset)))
		}
	}
	b.WriteString(" ELSE " + d.e.date(d.last.AddDays(offset)) + " END")
	return b.String()
}
