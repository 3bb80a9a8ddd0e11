package store

import (
	"context"
	"slices"
	"strings"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// days knows the day it is at every site of a scope. Status is not stored: queries
// compare dates with each site's today, which has two or three values at most.
type days struct {
	e           *engine
	all         bool // of all sites, not of those of a scope
	sites       map[int64]register.Site
	today       map[int64]quantity.Date
	first, last quantity.Date
	// differ: it is not the same day everywhere, so that queries need the site.
	differ bool
}

func (s *Store) days(ctx context.Context, now time.Time) (*days, error) {
	d := &days{e: s.e, all: s.scope.All, sites: map[int64]register.Site{}, today: map[int64]quantity.Date{}}
	inZone := map[string]quantity.Date{} // looking up a zone costs more than reading a site
	err := sites.each(ctx, s.reader(), s.siteCond("id"), nil, func(r *register.Site) error {
		d.sites[r.ID] = *r
		on, known := inZone[r.Zone]
		if !known {
			on = quantity.DateOf(now, zone(r.Zone))
			inZone[r.Zone] = on
		}
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

// at are the ids of the site of a name, of all sites of the scope for no name,
// and none where there is no such site.
func (d *days) at(name string) []int64 {
	var list []int64
	for id, site := range d.sites {
		if name == "" || fold(site.Name) == fold(name) {
			list = append(list, id)
		}
	}
	slices.Sort(list)
	return list
}

// sameDay is a day and some sites where it is that day.
type sameDay struct {
	on      quantity.Date
	siteIDs []int64
}

// todays puts sites together where it is the same day.
func (d *days) todays(siteIDs []int64) []sameDay {
	var all []sameDay
	for _, id := range siteIDs {
		i := slices.IndexFunc(all, func(s sameDay) bool { return s.on == d.today[id] })
		if i < 0 {
			i = len(all)
			all = append(all, sameDay{on: d.today[id]})
		}
		all[i].siteIDs = append(all[i].siteIDs, id)
	}
	return all
}

// day is an expression for so many days after today at the site of row e.
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
			b.WriteString(" WHEN e.site_id IN (" + idList(list) + ") THEN " + d.e.date(on.AddDays(offset)))
		}
	}
	b.WriteString(" ELSE " + d.e.date(d.last.AddDays(offset)) + " END")
	return b.String()
}
