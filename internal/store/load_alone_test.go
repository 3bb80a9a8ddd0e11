package store_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Of several loads into one register at once no one that failed takes away what
// another one says it has loaded.
func TestLoad_SeveralAtOnceAreOne(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		s := open(t, address(t, store.SQLite))
		apply(t, s, depot()...)
		k := dumped(t, s)
		for round := range 5 {
			dsn := address(t, engine)
			var all sync.WaitGroup
			var errs [2]error
			for i := range errs {
				all.Go(func() {
					time.Sleep(time.Duration(i*round*20) * time.Millisecond)
					_, errs[i] = store.Load(context.Background(), dsn, k.info, again{k})
				})
			}
			all.Wait()
			good := 0
			for _, err := range errs {
				switch {
				case err == nil:
					good++
				case !errors.Is(err, store.ErrInUse) && !errors.Is(err, store.ErrNotEmpty) && !errors.Is(err, register.ErrBusy):
					t.Errorf("round %d: %v", round, err)
				}
			}
			if good != 1 {
				t.Errorf("round %d: %d loads say that they went well, want 1: %v", round, good, errs)
			}
			if v, err := open(t, dsn).Verify(t.Context(), register.VerifyOptions{}); err != nil || !v.Whole() || v.Head.Seq != k.info.Seq {
				t.Errorf("round %d: then %+v, %v", round, v, err)
			}
		}
	})
}

// A register that nobody used yet may still be served.
func TestLoad_NotWhereAServiceRuns(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		s := open(t, address(t, store.SQLite))
		apply(t, s, depot()...)
		k := dumped(t, s)
		dsn := address(t, engine)
		serving := open(t, dsn)
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		lost, err := serving.Lead(ctx, func(string) {})
		if err != nil || lost == nil {
			t.Fatalf("lead: %v", err)
		}
		if _, err := store.Load(t.Context(), dsn, k.info, again{k}); !errors.Is(err, store.ErrInUse) {
			t.Errorf("while a service runs: %v", err)
		}
		apply(t, serving, register.AddSite{Name: "Yard", Zone: "UTC"}) // nothing was taken from it
		stop()
		<-lost
	})
}
