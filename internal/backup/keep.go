package backup

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// How many backups are kept: those of the last day all, and of older ones the
// newest of each of so many days, weeks and months. Common practice, no source.
const (
	keptDays   = 7
	keptWeeks  = 5
	keptMonths = 12
)

// Keep says which backups made at those times stay. The newest stays always,
// so do all of the 24 hours before it, and the newest of each of the last 7
// days, 5 weeks and 12 months that have one, in UTC. Only days that have a
// backup count, and one that is later than now is neither counted nor taken
// away: a clock that was set wrong, either way, costs nothing. At most 24 are
// kept beside those of the last day and the future.
func Keep(times []time.Time, now time.Time) []bool {
	keep := make([]bool, len(times))
	var order []int // what is past, newest first
	for i, t := range times {
		if t.After(now) {
			keep[i] = true
			continue
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return times[b].Compare(times[a]) })
	for _, i := range order {
		keep[i] = keep[i] || !times[i].Before(times[order[0]].Add(-24*time.Hour))
	}
	for _, span := range []struct {
		n    int
		name func(time.Time) string
	}{
		{keptDays, func(t time.Time) string { return t.Format(time.DateOnly) }},
		{keptWeeks, func(t time.Time) string { year, week := t.ISOWeek(); return fmt.Sprintf("%d week %d", year, week) }},
		{keptMonths, func(t time.Time) string { return t.Format("2006-01") }},
	} {
		seen := map[string]bool{}
		for _, i := range order {
			name := span.name(times[i].UTC())
			if !seen[name] && len(seen) < span.n {
				seen[name], keep[i] = true, true
			}
		}
	}
	return keep
}

// The names of backups in their folder. Those made before an upgrade and those
// under other names are never taken away.
const (
	nightly    = "hoseward-20060102T150405Z.zip"
	unfinished = ".backup-*"
)

// Name is what a nightly backup is called.
func Name(made time.Time) string { return made.UTC().Format(nightly) }

// NameBefore is what a backup made before an upgrade to a schema is called.
func NameBefore(schema int64, made time.Time) string {
	return fmt.Sprintf("before-schema-%04d-%s.zip", schema, made.UTC().Format("20060102T150405Z"))
}

// Rotate takes away the nightly backups in a folder that Keep does not keep,
// and what was left a day ago by a program that was ended while it wrote one.
// Call it only after a good backup was made.
func Rotate(dir string, now time.Time) (removed int, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return 0, fmt.Errorf("look for old backups: %w", err)
	}
	var names []string
	var times []time.Time
	var problems []error
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), strings.TrimSuffix(unfinished, "*")) {
			problems = append(problems, removeLeft(filepath.Join(dir, e.Name()), now))
		}
		if made, err := time.Parse(nightly, e.Name()); err == nil && e.Type().IsRegular() {
			names, times = append(names, e.Name()), append(times, made)
		}
	}
	for i, keep := range Keep(times, now) {
		if keep {
			continue
		}
		if err := os.Remove(filepath.Join(dir, names[i])); err != nil {
			problems = append(problems, err)
			continue
		}
		removed++
	}
	if err := errors.Join(problems...); err != nil {
		return removed, fmt.Errorf("take old backups away: %w", err)
	}
	return removed, nil
}

// removeLeft removes an unfinished backup that nobody can still be writing.
func removeLeft(path string, now time.Time) error {
	info, err := os.Lstat(path)
	if err != nil || !info.ModTime().Before(now.Add(-24*time.Hour)) {
		return nil // gone meanwhile, or young
	}
	return os.RemoveAll(path)
}
