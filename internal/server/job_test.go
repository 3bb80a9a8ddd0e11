package server_test

import (
	"testing"

	"hoseward/internal/quantity"
	"hoseward/internal/testkit"
)

// While a large change is worked out, Today and the page of jobs say how far
// that is; afterwards they do not.
func TestJobs_SayHowFarTheyAre(t *testing.T) {
	s := empty(t)
	ctx := t.Context()
	id, _, err := s.store.StartJob(ctx, "estimate stale", quantity.Date{}, now)
	if err != nil {
		t.Fatal(err)
	}
	says := "3200 of 10 000 dates are worked out anew"
	for _, page := range []string{"/", "/jobs"} {
		testkit.HTML(t, s.get(page).Body, testkit.NoText("dates are worked out anew"))
	}
	if err := s.store.ProgressJob(ctx, id, 3200, 10000); err != nil {
		t.Fatal(err)
	}
	for _, page := range []string{"/", "/jobs"} {
		testkit.HTML(t, s.get(page).Body, testkit.Text(says), testkit.In("[role=status]", testkit.Has("a[href]")))
	}
	if err := s.store.FinishJob(ctx, id, now, 10000, ""); err != nil {
		t.Fatal(err)
	}
	for _, page := range []string{"/", "/jobs"} {
		testkit.HTML(t, s.get(page).Body, testkit.NoText(says))
	}
}
