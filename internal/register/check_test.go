package register_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func day(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

func f(v float64) *float64 { return &v }

func flag(v bool) *bool { return &v }

func TestCheck_RefusesByFieldWithOneSentence(t *testing.T) {
	machine := register.AddMachine{Site: "Depot", Code: "RT-01"}
	for _, c := range []struct {
		why   string
		cmd   register.Command
		field string // empty: taken
	}{
		{"a machine with site and code is enough", machine, ""},
		{"a machine needs a code", register.AddMachine{Site: "Depot"}, "code"},
		{"a code is not blank", register.AddMachine{Site: "Depot", Code: "  "}, "code"},
		{"a code has no space around it", register.AddMachine{Site: "Depot", Code: "RT-01 "}, "code"},
		{"a name has single spaces, or two would look the same", register.AddMachine{Site: "Depot", Code: "RT  01"}, "code"},
		{"and ordinary ones", register.AddMachine{Site: "Depot", Code: "RT\u00a001"}, "code"},
		{"a circuit's name too", register.AddPosition{Machine: "RT", Name: "p", Circuit: "lift  left"}, "circuit"},
		{"a policy's energy is what package life takes", policy(func(p *register.Policy) { p.EaKJ = f(301) }), "ea_kj"},
		{"a code is on one line", register.AddMachine{Site: "Depot", Code: "RT\n01"}, "code"},
		{"a code is no step up an address", register.AddMachine{Site: "Depot", Code: ".."}, "code"},
		{"a code is no word of an address", register.AddMachine{Site: "Depot", Code: "New"}, "code"},
		{"a code can be seen", register.AddMachine{Site: "Depot", Code: "\ufeff"}, "code"},
		{"nothing in a code is hidden", register.AddMachine{Site: "Depot", Code: "RT\u202e01"}, "code"},
		{"a code may have signs", register.AddMachine{Site: "Depot", Code: "RT/01 (alt) #2"}, ""},
		{"a code may be of any script", register.AddMachine{Site: "Depot", Code: "МТЗ-82"}, ""},
		{"a code has bounds", register.AddMachine{Site: "Depot", Code: strings.Repeat("x", 61)}, "code"},
		{"text is text", register.AddMachine{Site: "Depot", Code: "RT", Name: "a\xffb"}, "name"},
		{"text has no control characters", register.AddMachine{Site: "Depot", Code: "RT", Note: "a\x00b"}, "note"},
		{"HTML is only text", register.AddMachine{Site: "Depot", Code: "RT", Name: "<script>alert(1)</script>"}, ""},
		{"a week has 168 hours", register.AddMachine{Site: "Depot", Code: "RT", PlannedHoursPerWeek: f(169)}, "planned_hours_per_week"},
		{"hours are not negative", register.AddMachine{Site: "Depot", Code: "RT", PlannedHoursPerWeek: f(-1)}, "planned_hours_per_week"},
		{"NaN is no number", register.AddMachine{Site: "Depot", Code: "RT", PlannedHoursPerWeek: f(math.NaN())}, "planned_hours_per_week"},
		{"a site needs a zone", register.AddSite{Name: "Depot"}, "zone"},
		{"the machine's own zone is no zone", register.AddSite{Name: "Depot", Zone: "Local"}, "zone"},
		{"a rating is above zero", register.AddAssembly{Site: "D", Assembly: register.Assembly{RatedBar: f(0), RatingSource: register.RatingTyped}}, "rated_bar"},
		{"a rating says where it is from", register.AddAssembly{Site: "D", Assembly: register.Assembly{RatedBar: f(275)}}, "rating_source"},
		{"infinity is no pressure", register.AddAssembly{Site: "D", Assembly: register.Assembly{EndABar: f(math.Inf(1))}}, "end_a_bar"},
		{
			"an assembly is not older than its hose",
			register.AddAssembly{Site: "D", Assembly: register.Assembly{Made: quantity.Day(day("2024-05-01")), Assembled: quantity.Day(day("2024-04-30"))}},
			"assembled",
		},
		{
			"made in a quarter, assembled in a month of it",
			register.AddAssembly{Site: "D", Assembly: register.Assembly{Made: quarter(2024, 2), Assembled: month(2024, 4)}},
			"",
		},
		{"a fitting has a day", register.Fit{Machine: "RT", Position: "p"}, "on"},
		{"a year of the past century is a slip", register.Fit{Machine: "RT", Position: "p", On: day("1924-01-01")}, "on"},
		{"a release has a reason", register.Fit{Machine: "RT", Position: "p", On: day("2024-01-01"), ReleasedBy: "manager"}, "reason"},
		{"a cause is one of the list", register.Remove{AssemblyCode: "H", On: day("2024-01-01"), Cause: "bad luck", FoundBy: register.FoundByEvent}, "cause"},
		{"it was found somehow", register.Remove{AssemblyCode: "H", On: day("2024-01-01"), Cause: register.CauseHeat}, "found_by"},
		{"an hour meter has bounds", register.AddReading{Machine: "RT", On: day("2024-01-01"), Hours: 1e9}, "hours"},
		{"a lay-up ends after it begins", register.AddLayUp{Machine: "RT", From: day("2024-02-01"), To: day("2024-02-01")}, "to"},
		{"conditions are of a circuit or a position", conditions(register.SetConditions{Circuit: "lift", Position: "p"}), "position"},
		{"values are measured or assumed", register.SetConditions{Machine: "RT", From: day("2024-01-01")}, "basis"},
		{"a cycle rises", conditions(register.SetConditions{Service: register.Service{Cycles: register.Cycles{{MinBar: 210, MaxBar: 210, Count: 1}}}}), "cycles[0].max_bar"},
		{"shares add to one", conditions(register.SetConditions{Service: register.Service{Temperatures: register.Temperatures{{C: 60, Share: 0.5}}}}), "temperatures"},
		{"a finding has a class", inspect(register.NewFinding{Number: 1, Class: "dire"}), "findings[0].class"},
		{"a finding is of the catalogue", inspect(register.NewFinding{Number: 99, Class: life.Watch}), "findings[0].number"},
		{"a finding is acted on after it is seen", inspect(register.NewFinding{Number: 1, Class: life.Watch, ActBy: day("2023-12-31")}), "findings[0].act_by"},
		{"a release of a finding has a reason", register.CloseFinding{FindingID: 1, On: day("2024-01-01"), How: register.ClosedByRelease}, "reason"},
		{"a limit is at least a month", register.AddPolicy{Policy: register.Policy{Policy: life.Policy{Name: "ours", MonthsFromAssembly: new(int)}}}, "months_from_assembly"},
		{"a milder limit says who lengthened it", policy(func(p *register.Policy) { p.MonthsFromAssembly = months(96) }), "months_from_assembly"},
		{"no limit is milder than one", policy(func(p *register.Policy) { p.InspectMonths = nil }), "inspect_months"},
		{"a milder damage limit too", policy(func(p *register.Policy) { p.DamageLimit = f(0.6) }), "damage_limit"},
		{"a lengthened limit with its reason is taken", policy(func(p *register.Policy) { p.MonthsFromAssembly, p.Lengthened = months(96), "manager A., tests of 2025" }), ""},
		{"a stricter limit needs no reason", policy(func(p *register.Policy) { p.MonthsFromAssembly = months(48) }), ""},
		{"the own curve alone has a reason", register.AddPolicy{Policy: register.Policy{Policy: life.Policy{Name: "ours", OwnCurveAlone: true}}}, "own_curve_reason"},
	} {
		err := c.cmd.Check()
		if c.field == "" {
			if err != nil {
				t.Errorf("%s: refused with %v", c.why, err)
			}
			continue
		}
		var refusal *register.Error
		if !errors.As(err, &refusal) {
			t.Errorf("%s: got %v, want a refusal of %s", c.why, err, c.field)
			continue
		}
		if refusal.Field != c.field || refusal.Code != register.Invalid {
			t.Errorf("%s: refused %s %s, want %s", c.why, refusal.Code, refusal.Field, c.field)
		}
		if !strings.HasSuffix(refusal.Sentence, ".") || strings.Contains(refusal.Sentence, "%!") {
			t.Errorf("%s: %q is not one clear sentence", c.why, refusal.Sentence)
		}
	}
}

func quarter(y, q int) quantity.Period {
	p, err := quantity.Quarter(y, q)
	if err != nil {
		panic(err)
	}
	return p
}

func month(y, m int) quantity.Period {
	p, err := quantity.Month(y, m)
	if err != nil {
		panic(err)
	}
	return p
}

func conditions(c register.SetConditions) register.Command {
	c.Machine, c.From, c.Basis = "RT", day("2024-01-01"), register.Assumed
	return c
}

func policy(change func(*register.Policy)) register.Command {
	p := register.Policy{Policy: life.NormalDemand()}
	p.Name = "ours"
	change(&p)
	return register.AddPolicy{Policy: p}
}

func inspect(n register.NewFinding) register.Command {
	return register.Inspect{Machine: "RT", Position: "p", On: day("2024-01-01"), Findings: []register.NewFinding{n}}
}

func TestError_IsMatchesByCode(t *testing.T) {
	err := error(&register.Error{Code: register.NotFound, Field: "machine", Sentence: "There is no machine RT-99."})
	if !errors.Is(err, &register.Error{Code: register.NotFound}) {
		t.Error("an error of the code does not match")
	}
	if errors.Is(err, &register.Error{Code: register.Exists}) {
		t.Error("an error of another code matches")
	}
	if errors.Is(err, &register.Error{Code: register.NotFound, Field: "site"}) {
		t.Error("an error of another field matches")
	}
}
