package server_test

import (
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// What is said from today on leaves all the wear before unknown, and every date
// as incomplete as it was: where nothing was said yet the form begins with the
// day the oldest hose was fitted.
func TestConditionsForm_TheFirstOnesCountFromTheOldestHoseOn(t *testing.T) {
	s := twoSites(t)
	const path = "/machines/RT-01/conditions/new"
	s.page(s.get(path), 200, testkit.In("input[name=from]", testkit.Attr("value", "2024-07-02")),
		testkit.In("#from-hint", testkit.Text("2024-07-02 is when the oldest hose here was fitted; the wear before the day given here stays unknown.")))
	s.page(s.get("/machines/EX-02/conditions/new"), 200, testkit.In("input[name=from]", testkit.Attr("value", "2026-11-25")))

	fluid := 60.0
	s.apply(register.SetConditions{Machine: "RT-01", From: day("2024-07-02"), Basis: register.Assumed, Note: "guess", Service: register.Service{FluidC: &fluid}})
	s.page(s.get(path), 200, testkit.In("input[name=from]", testkit.Attr("value", "2026-11-25")),
		testkit.In("#from-hint", testkit.Text("Before it counts what was said of the time before")))
}
