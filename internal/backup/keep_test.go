package backup_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hoseward/internal/backup"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// kept are the days on which something stays, newest first.
func kept(times []time.Time, now time.Time) (days []string) {
	for i, k := range backup.Keep(times, now) {
		if k {
			days = append(days, times[i].Format("01-02 15h"))
		}
	}
	return days
}

func TestKeep_ANightlyRowOfTwoYears(t *testing.T) {
	var times []time.Time
	for i := range 730 {
		times = append(times, noon.AddDate(0, 0, -i).Add(-10*time.Hour))
	}
	times = append(times, noon.Add(-time.Hour), noon.Add(-2*time.Hour)) // by hand
	want := []string{
		// 25 November 2026 is a Wednesday.
		"11-25 02h", "11-24 02h", "11-23 02h", "11-22 02h", "11-21 02h", "11-20 02h", "11-19 02h", // days
		"11-15 02h", "11-08 02h", "11-01 02h", // Sundays, beside 22 November and this week
		"10-31 02h", "09-30 02h", "08-31 02h", "07-31 02h", "06-30 02h", "05-31 02h", "04-30 02h", "03-31 02h", "02-28 02h", "01-31 02h", "12-31 02h", // months
		"11-25 11h", "11-25 10h", // the last 24 hours
	}
	// 24 November at 2 is more than 24 hours before the newest, but is a day's newest.
	if have := kept(times, noon); !slices.Equal(have, want) {
		t.Errorf("kept\n%v, want\n%v", have, want)
	}
}

// someTimes are times within some years of noon, many of them close together.
func someTimes(t *rapid.T) []time.Time {
	hours := rapid.SliceOfN(rapid.OneOf(rapid.IntRange(-20000, 20000), rapid.IntRange(-200, 200)), 0, 80).Draw(t, "hours")
	var times []time.Time
	for _, h := range hours {
		times = append(times, noon.Add(time.Duration(h)*time.Hour))
	}
	return times
}

func TestKeep_WhateverTheClockSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times := someTimes(t)
		now := noon.Add(time.Duration(rapid.IntRange(-30000, 30000).Draw(t, "now")) * time.Hour)
		keep := backup.Keep(times, now)
		past, stay, lastDay := 0, 0, 0
		var newest time.Time
		days := map[string]bool{}
		for _, tm := range times {
			if !tm.After(now) {
				past++
				days[tm.Format(time.DateOnly)] = true
				if tm.After(newest) {
					newest = tm
				}
			}
		}
		var left []time.Time
		for i, k := range keep {
			tm := times[i]
			switch {
			case tm.After(now) && !k:
				t.Fatalf("%v, later than now, is taken away", tm)
			case tm.Equal(newest) && !k:
				t.Fatal("the newest is taken away")
			case !tm.After(now) && k:
				stay++
			}
			if !tm.After(now) && !tm.Before(newest.Add(-24*time.Hour)) {
				lastDay++
			}
			if k {
				left = append(left, tm)
			}
		}
		if stay < min(len(days), 7) {
			t.Fatalf("%d stay of %d days", stay, len(days))
		}
		if stay > lastDay+24 {
			t.Fatalf("%d stay beside %d of the last day: too many", stay, lastDay)
		}
		for i, k := range backup.Keep(left, now) {
			if !k {
				t.Fatalf("%v was kept, and taken away the next time", left[i])
			}
		}
	})
}

// A clock that jumps ahead for some nights and back again must not leave only
// what was made meanwhile.
func TestKeep_AClockSetForwardAYearAndBack(t *testing.T) {
	have := map[time.Time]bool{}
	night := func(now time.Time) {
		have[now] = true
		var times []time.Time
		for tm := range have {
			times = append(times, tm)
		}
		for i, k := range backup.Keep(times, now) {
			if !k {
				delete(have, times[i])
			}
		}
	}
	for i := range 30 {
		night(noon.AddDate(0, 0, i))
	}
	for i := range 20 {
		night(noon.AddDate(1, 0, 30+i))
	}
	for i := range 10 {
		night(noon.AddDate(0, 0, 50+i))
		if !have[noon.AddDate(0, 0, 50+i)] {
			t.Fatalf("the backup of night %d after the clock was set right is gone", i)
		}
	}
	for i := range 7 {
		if !have[noon.AddDate(0, 0, 59-i)] {
			t.Errorf("the backup of %d nights ago is gone", i)
		}
	}
}

func TestRotate_TakesAwayOnlyWhatItMade(t *testing.T) {
	dir := t.TempDir()
	write := func(name string) {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 40 {
		write(backup.Name(noon.AddDate(0, 0, -i)))
	}
	others := []string{"before-schema-0011-20200101T000000Z.zip", "mine.zip", "hoseward-20200101T000000Z.zip.old", "hoseward-20201301T000000Z.zip"}
	for _, name := range others {
		write(name)
	}
	old, young := filepath.Join(dir, ".backup-1"), filepath.Join(dir, ".backup-2")
	for _, d := range []string{old, young} {
		if err := os.Mkdir(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chtimes(old, noon, noon.Add(-25*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(young, noon, noon.Add(-23*time.Hour)); err != nil {
		t.Fatal(err)
	}
	removed, err := backup.Rotate(dir, noon)
	entries, err2 := os.ReadDir(dir)
	// 7 days to 19 November, 15, 8 and 1 November for the weeks, 31 October.
	if err != nil || err2 != nil || removed != 40-11 || len(entries) != 11+len(others)+1 {
		t.Errorf("removed %d, %v; left: %v, %v", removed, err, entries, err2)
	}
	for _, name := range others {
		if _, err := os.Lstat(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Lstat(old); err == nil {
		t.Error("what was left a day ago is there still")
	}
	if _, err := os.Lstat(young); err != nil {
		t.Error("what may still be written is gone")
	}
}
