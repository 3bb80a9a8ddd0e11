package store_test

import (
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/exchange"
	"hoseward/internal/store"
)

// Random lives, corrected, taken back and undone, entered in any order: what a
// register may come to hold, both forms carry to an equal one.
func TestWhole_RandomLivesComeBackEqual(t *testing.T) {
	s, other := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
	forgetful(t, s)
	forgetful(t, other)
	steps := map[string]int{}
	tell(t, 12, func(r *rapid.T) {
		w := newTale(t, r, s, steps)
		w.quick = true
		r.Repeat(w.actions())
		for _, format := range []exchange.Format{exchange.JSON, exchange.XLSX} {
			empty(t, other)
			if _, err := take(t, other, whole(t, s, format)); err != nil {
				r.Fatalf("%s: %v\n%s", format, err, whole(t, s, exchange.JSON))
			}
			sameRegister(t, s, other)
		}
	})
	if !t.Failed() && len(steps) < 10 {
		t.Errorf("the lives were poor: %v", steps)
	}
}
