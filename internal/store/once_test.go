package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// note is a request that notes a reading.
func note(s *store.Store, at time.Time, by register.Actor, once register.Once, on string, hours float64) (register.Answer, error) {
	said, _, err := s.ApplyOnce(context.Background(), at, by, once, func(r register.Result) (int, []byte, error) {
		return 200, []byte(fmt.Sprintf("%d rows, the first %s %s version %d", len(r.Rows), r.Rows[0].Entity, r.Rows[0].Action, r.Rows[0].Version)), nil
	}, register.AddReading{Machine: "RT-01", On: day(on), Hours: hours})
	return said, err
}

func readingsOf(t testing.TB, s *store.Store) int {
	t.Helper()
	sheet, err := s.MachineSheet(context.Background(), now, "RT-01")
	if err != nil {
		t.Fatal(err)
	}
	return len(sheet.Readings)
}

func TestApplyOnce_AnswersAgainAndDoesNothingTwice(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		once := register.Once{Key: "k-1", Request: "a"}
		first, err := note(s, now, me, once, "2026-11-20", 10)
		if err != nil || first.Replayed || string(first.Body) != "1 rows, the first readings added version 1" {
			t.Fatalf("first: %+v, %v", first, err)
		}
		again, err := note(s, now.Add(time.Hour), me, once, "2026-11-20", 10)
		if err != nil || !again.Replayed || string(again.Body) != string(first.Body) || again.Status != 200 {
			t.Errorf("again: %+v, %v", again, err)
		}
		if said, err := s.Answered(t.Context(), now, me.PersonID, once); err != nil || !said.Replayed || string(said.Body) != string(first.Body) {
			t.Errorf("Answered: %+v, %v", said, err)
		}
		if n := readingsOf(t, s); n != 1 {
			t.Errorf("%d readings, want 1", n)
		}
		for what, other := range map[string]register.Once{"another request under the key": {Key: "k-1", Request: "b"}} {
			if _, err := note(s, now, me, other, "2026-11-20", 11); !errors.Is(err, &register.Error{Code: register.KeyTaken}) {
				t.Errorf("%s: %v", what, err)
			}
			if _, err := s.Answered(t.Context(), now, me.PersonID, other); !errors.Is(err, &register.Error{Code: register.KeyTaken}) {
				t.Errorf("Answered of %s: %v", what, err)
			}
		}
	})
}

func TestApplyOnce_KeepsOnlyWhatWasDone(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-11-19"), Hours: 100})
		once := register.Once{Key: "k-1", Request: "a"}
		var at *store.CommandError
		if _, err := note(s, now, me, once, "2026-11-20", 10); !errors.As(err, &at) || at.Index != 0 {
			t.Fatalf("a falling meter is told as %v", err)
		}
		if said, err := s.Answered(t.Context(), now, me.PersonID, once); err != nil || said.Replayed {
			t.Errorf("a refusal is kept: %+v, %v", said, err)
		}
		if _, err := note(s, now, me, register.Once{Key: "k-1", Request: "b"}, "2026-11-20", 110); err != nil {
			t.Errorf("a refused request keeps its key: %v", err)
		}
		// Where the answer cannot be made nothing is done.
		_, _, err := s.ApplyOnce(t.Context(), now, me, register.Once{Key: "k-2", Request: "c"},
			func(register.Result) (int, []byte, error) { return 0, nil, errors.New("no words") },
			register.AddReading{Machine: "RT-01", On: day("2026-11-21"), Hours: 120})
		if err == nil || readingsOf(t, s) != 2 {
			t.Errorf("a change without its answer: %v, %d readings", err, readingsOf(t, s))
		}
	})
}

func TestApplyOnce_OfManySentAtOnceCarriesOutOne(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		const n = 12
		var wait sync.WaitGroup
		said := make([]register.Answer, n)
		errs := make([]error, n)
		for i := range n {
			wait.Add(1)
			go func() {
				defer wait.Done()
				said[i], errs[i] = note(s, now, me, register.Once{Key: "k", Request: "a"}, "2026-11-20", 10)
			}()
		}
		wait.Wait()
		carriedOut := 0
		for i := range n {
			if errs[i] != nil {
				t.Errorf("request %d: %v", i, errs[i])
			}
			if !said[i].Replayed {
				carriedOut++
			}
			if string(said[i].Body) != string(said[0].Body) {
				t.Errorf("request %d is answered %q, another %q", i, said[i].Body, said[0].Body)
			}
		}
		if carriedOut != 1 || readingsOf(t, s) != 1 {
			t.Errorf("%d carried out, %d readings; want one", carriedOut, readingsOf(t, s))
		}
	})
}

func TestApplyOnce_KeysAreOnesOwnAndLastAWhile(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		once := register.Once{Key: strings.Repeat("ü", 200), Request: "a"}
		if _, err := note(s, now, me, once, "2026-11-20", 10); err != nil {
			t.Fatal(err)
		}
		if said, err := s.Answered(t.Context(), now, me.PersonID+1, once); err != nil || said.Replayed {
			t.Errorf("another person's key: %+v, %v", said, err)
		}
		if n, err := s.ForgetAnswers(t.Context(), now.Add(store.AnswersKept)); err != nil || n != 0 {
			t.Errorf("forgot %d too early, %v", n, err)
		}
		later := now.Add(store.AnswersKept + time.Minute)
		if said, err := s.Answered(t.Context(), later, me.PersonID, once); err != nil || said.Replayed {
			t.Errorf("an old answer: %+v, %v", said, err)
		}
		// The key may be used anew before the job has forgotten it.
		if said, err := note(s, later, me, register.Once{Key: once.Key, Request: "b"}, "2026-11-21", 20); err != nil || said.Replayed {
			t.Errorf("an old key: %+v, %v", said, err)
		}
		if n, err := s.ForgetAnswers(t.Context(), later.Add(store.AnswersKept+time.Minute)); err != nil || n != 1 {
			t.Errorf("forgot %d, want 1: %v", n, err)
		}
	})
}

func TestApplyOnce_SaysWhichOfManyIsRefused(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		for want, cmds := range [][]register.Command{
			{register.AddReading{Machine: "NO", On: day("2026-11-20"), Hours: 1}, register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 1}},
			{register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 9}, register.AddReading{Machine: "RT-01", On: day("2026-11-21"), Hours: 1}},
			{register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 9}, register.AddReading{Machine: "RT-01", On: day("2026-11-21"), Hours: 10}, register.AddReading{}},
		} {
			_, _, err := s.ApplyOnce(t.Context(), now, me, register.Once{}, func(register.Result) (int, []byte, error) { return 200, nil, nil }, cmds...)
			var at *store.CommandError
			if !errors.As(err, &at) || at.CommandIndex() != want {
				t.Errorf("command %d: %v", want, err)
			}
		}
		if n := readingsOf(t, s); n != 0 {
			t.Errorf("%d readings of refused requests", n)
		}
	})
}
