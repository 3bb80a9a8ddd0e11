package server_test

import (
	"net/http"
	"slices"
	"testing"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

func (s *site) policy(name string) register.Policy {
	s.t.Helper()
	list, err := s.store.Policies(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	i := slices.IndexFunc(list, func(p register.Policy) bool { return p.Name == name })
	if i < 0 {
		s.t.Fatalf("there is no policy %s", name)
	}
	return list[i]
}

func policyPath(p register.Policy) string {
	return "/policies/" + quantity.FormatNumber(float64(p.ID), 0) + "/edit"
}

func TestPolicyForms_CopyAndChange(t *testing.T) {
	s := yard(t)
	page := s.page(s.get("/policies/new?from=heightened+demand"), 200, testkit.In("input[name=months_from_fitting]", testkit.Attr("value", "24")), testkit.In("input[name=name]", testkit.Attr("value", "")))
	s.wentTo(s.post("/policies/new", typed(t, page, "name", "Night shift", "inspect_months", "3", "heat_reference_c", "70 °C")...), "/policies?done=policy-added")
	p := s.policy("Night shift")
	if *p.MonthsFromAssembly != 72 || *p.MonthsFromFitting != 24 || *p.InspectMonths != 3 || *p.HeatReferenceC != 70 || p.Shipped {
		t.Errorf("added %+v", p)
	}
	s.wentTo(s.allowing("/sites/Depot/edit", s.page(s.get("/sites/Depot/edit"), 200), "policy", "Night shift", "reason", "heat is looked after"), "/sites?done=site-changed")
	shown := s.page(s.fill(policyPath(p), "months_from_fitting", "36", "lengthened", "M. Adler: three years of records"), 200, testkit.In("#preview", testkit.Text("1 date moves later")), testkit.In("main", testkit.Text("Used by the site Depot")))
	s.wentTo(s.post(policyPath(p), typed(t, shown)...), "/policies?done=policy-changed")
	if p = s.policy("Night shift"); *p.MonthsFromFitting != 36 {
		t.Errorf("changed to %+v", p)
	}
}

func TestPolicyForm_AsksWhoLengthenedAsSoonAsALimitIsMilder(t *testing.T) {
	s := depot(t)
	for _, over := range [][]string{
		{"months_from_assembly", "96"},
		{"months_from_assembly", ""},
		{"storage_months", "30"},
		{"hose_age_months", ""},
		{"inspect_months", "18"},
		{"damage_limit", "0.6"},
		{"assumed_factor", "1.5"},
	} {
		page := s.page(s.fill("/policies/new", append(over, "name", "Mild")...), http.StatusUnprocessableEntity,
			testkit.In("#"+over[0]+"-error", testkit.Text("milder")), testkit.In("#lengthened-error", testkit.Text("Say who")))
		s.wentTo(s.post("/policies/new", typed(t, page, "name", "Mild "+over[0]+over[1], "lengthened", "the works manager, after tests of removed hoses")...), "/policies?done=policy-added")
	}
}

func TestPolicyForm_ShippedOnesCannotBeChanged(t *testing.T) {
	s := depot(t)
	s.page(s.get(policyPath(s.policy("normal demand"))), http.StatusConflict, testkit.In("main", testkit.Text("Copy it under another name")))
	s.page(s.get("/policies/999/edit"), http.StatusNotFound)
	s.page(s.get("/policies/x/edit"), http.StatusNotFound)
}

// Every refusal is told at its field, and all that was typed stays.
func TestPlaceForms_TellAtTheFieldAndKeepWhatWasTyped(t *testing.T) {
	s := yard(t)
	own := register.Policy{Policy: s.policy("normal demand").Policy}
	own.Name = "own"
	s.apply(register.AddPolicy{Policy: own})
	machine, kind := "/machines/RT-01", "/kinds/refuse%20truck"
	for _, c := range []struct {
		why, path   string
		over        []string
		field, says string
	}{
		{"a site without a name", "/sites/new", []string{"zone", "UTC"}, "name", "Give the site a name"},
		{"a zone the world lacks", "/sites/new", []string{"name", "Yard", "zone", "Europe/Atlantis"}, "zone", "no time zone"},
		{"a site's name that is taken", "/sites/new", []string{"name", "depot", "zone", "UTC"}, "name", "already"},
		{"a kind's name that is taken", "/kinds/new", []string{"name", "Excavator"}, "name", "already"},
		{"a usual position without a name", kind + "/positions/new", []string{"circuit", "lift"}, "name", "Give the position a name"},
		{"an order that is no number", kind + "/positions/new", []string{"name", "x", "order", "first"}, "order", "not a whole number"},
		{"a duty whose cycles go down", kind + "/duties/new", []string{"circuit", "winch", "cycle_min-1", "100 bar", "cycle_max-1", "50 bar", "cycle_count-1", "5"}, "cycle_max-1", "above its lowest"},
		{"cycles without their number", kind + "/duties/new", []string{"circuit", "winch", "cycle_max-0", "100 bar"}, "cycle_count-0", "how many"},
		{"cycles and none at once", kind + "/duties/new", []string{"circuit", "winch", "cycle_max-0", "100 bar", "cycle_count-0", "3", "no_cycles", "yes"}, "no_cycles", "cycles too"},
		{"a machine without a code", machine + "/edit", []string{"code", ""}, "code", "Give the machine a code"},
		{"a code that is taken", machine + "/edit", []string{"code", "rt-02"}, "code", "rt-02"},
		{"more hours than a week has", machine + "/edit", []string{"planned", "169"}, "planned", "outside 0 to 168"},
		{"a sister that is not there", "/machines/new", []string{"code", "X", "start", "machine", "from", "nobody"}, "from", "nobody"},
		{"a sister that is not named", "/machines/new", []string{"code", "X", "start", "machine"}, "from", "Name the machine"},
		{"a position's name that is taken", machine + "/positions/new", []string{"name", "Steering"}, "name", "already"},
		{"a length that is none", machine + "/positions/new", []string{"name", "x", "length", "long"}, "length", "long"},
		{"a position without a name", machine + "/positions/steering/edit", []string{"name", ""}, "name", "Give the position a name"},
		{"conditions from no day", machine + "/conditions/new", []string{"from", "", "basis", "measured", "fluid", "70"}, "from", "Give the day"},
		{"shares that do not add up", machine + "/conditions/new", []string{"basis", "measured", "temp-0", "60", "share-0", "70"}, "share-0", "must add to 1"},
		{"a share of more than all", machine + "/conditions/new", []string{"basis", "measured", "temp-0", "60", "share-0", "170"}, "share-0", "from 0 to 100"},
		{"a temperature no fluid has", machine + "/conditions/new", []string{"basis", "measured", "fluid", "700 °C"}, "fluid", "outside"},
		{"a lay-up that ends before it begins", machine + "/lay-ups/new", []string{"from", "2026-11-10", "to", "2026-11-01"}, "to", "not after its beginning"},
		{"a lay-up from no day", machine + "/lay-ups/new", []string{"from", ""}, "from", "Give the day"},
		{"leaving without a reason", machine + "/leave", []string{"reason", " "}, "reason", "Say why"},
		{"leaving on a day to come", machine + "/leave", []string{"on", "2027-05-01", "reason", "sold"}, "on", "ahead"},
		{"a policy without a name", "/policies/new", []string{"source", "ours"}, "name", "Give the policy a name"},
		{"a policy's name that is taken", "/policies/new", []string{"name", "Own"}, "name", "already"},
		{"months that are no number", policyPath(s.policy("own")), []string{"inspect_months", "often"}, "inspect_months", "not a whole number"},
		{"a limit of no months", policyPath(s.policy("own")), []string{"inspect_months", "0"}, "inspect_months", "1 to 1200"},
		{"the own curve without a reason", policyPath(s.policy("own")), []string{"own_curve_alone", "yes"}, "own_curve_reason", "Say why"},
	} {
		t.Run(c.why, func(t *testing.T) {
			before := s.changes()
			page := s.page(s.fill(c.path, c.over...), http.StatusUnprocessableEntity, testkit.Has("#problems"))
			if err := testkit.In("#"+c.field+"-error", testkit.Text(c.says))(page); err != nil {
				t.Error(err, testkit.TextOf(testkit.Find(page, "#problems")[0]))
			}
			sent := typed(t, page)
			for i := 0; i+1 < len(c.over); i += 2 {
				at := slices.Index(sent, c.over[i])
				if at < 0 || sent[at+1] != c.over[i+1] {
					t.Errorf("what was typed in %s is lost", c.over[i])
				}
			}
			checkNames(t, c.path, page)
			if n := s.changes(); n != before {
				t.Errorf("%d changes were saved", n-before)
			}
		})
	}
	s.page(s.fill(machine+"/conditions/new", "fluid", "70"), http.StatusUnprocessableEntity, testkit.In("fieldset#basis.wrong", testkit.Text("measured or assumed")))
	s.page(s.fill(machine+"/conditions/new", "basis", "measured"), http.StatusUnprocessableEntity, testkit.In("#problems", testkit.Text("Nothing is filled in")))
}
