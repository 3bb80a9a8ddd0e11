package life_test

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

func TestCheck_NamesTheField(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		field string
		edit  func(a *life.Assembly)
	}{
		{"hose.rated_bar", func(a *life.Assembly) { a.Hose.RatedBar = ptr(0.0) }},
		{"hose.rated_bar", func(a *life.Assembly) { a.Hose.RatedBar = ptr(nan) }},
		{"ends[0].rated_bar", func(a *life.Assembly) { a.EndABar = ptr(-1.0) }},
		{"ends[1].rated_bar", func(a *life.Assembly) { a.EndBBar = ptr(math.Inf(1)) }},
		{"hose.max_c", func(a *life.Assembly) { a.Hose.MaxC = ptr(1e6) }},
		{"hose.impulse_percent", func(a *life.Assembly) { a.Hose.ImpulseCycles = ptr(2e5) }},
		{"hose.impulse_cycles", func(a *life.Assembly) { a.Hose.ImpulsePercent = ptr(133.0) }},
		{"hose.impulse_percent", func(a *life.Assembly) { a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(400.0), ptr(2e5) }},
		{"hose.impulse_cycles", func(a *life.Assembly) { a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(133.0), ptr(1.0) }},
		{"hose.made", func(a *life.Assembly) { a.Hose.Made = day("0201-01-01") }},
		{"assembled", func(a *life.Assembly) { a.Hose.Made = day("2021-06-01") }},
		{"fitted", func(a *life.Assembly) { a.Assembled, a.Hose.Made = day("2021-06-01"), noDate }},
		{"fitted", func(a *life.Assembly) { a.Assembled, a.Hose.Made = noDate, day("2021-06-01") }},
		{"as_of", func(a *life.Assembly) { a.Fitted, a.Assembled = day("2020-07-02"), noDate }},
		{"as_of", func(a *life.Assembly) {
			a.Fitted, a.Stints, a.Hose.Made, a.Assembled = noDate, nil, noDate, day("2021-08-01")
		}},
		{"last_inspection", func(a *life.Assembly) { a.LastInspection = day("9000-01-01") }},
		{"policy.months_from_assembly", func(a *life.Assembly) { a.Policy.MonthsFromAssembly = ptr(0) }},
		{"policy.inspect_months", func(a *life.Assembly) { a.Policy.InspectMonths = ptr(-12) }},
		{"policy.storage_months", func(a *life.Assembly) { a.Policy.StorageMonths = ptr(math.MaxInt) }},
		{"policy.hours_from_fitting", func(a *life.Assembly) { a.Policy.HoursFromFitting = ptr(0.0) }},
		{"policy.damage_limit", func(a *life.Assembly) { a.Policy.DamageLimit = ptr(nan) }},
		{"policy.assumed_factor", func(a *life.Assembly) { a.Policy.AssumedFactor = ptr(0.5) }},
		{"policy.heat_reference_c", func(a *life.Assembly) { a.Policy.HeatReferenceC = ptr(-300.0) }},
		{"policy.ea_kj", func(a *life.Assembly) { a.Policy.EaKJ = ptr(-90.0) }},
		{"policy.own_curve_reason", func(a *life.Assembly) { a.Policy.OwnCurveAlone = true }},
		{"conditions[0].from", func(a *life.Assembly) { a.Conditions[0].From = noDate }},
		{"conditions[1].from", func(a *life.Assembly) { a.Conditions = append(a.Conditions, a.Conditions[0]) }},
		{"conditions[0].fluid_c", func(a *life.Assembly) { a.Conditions[0].FluidC = ptr(nan) }},
		{"conditions[0].temperatures", func(a *life.Assembly) {
			a.Conditions[0].Temperatures = []life.TemperatureShare{{C: 60, Share: 0.7}, {C: 90, Share: 0.2}}
		}},
		{"conditions[0].temperatures[1].share", func(a *life.Assembly) {
			a.Conditions[0].Temperatures = []life.TemperatureShare{{C: 60, Share: 0.7}, {C: 90, Share: -0.2}}
		}},
		{"conditions[0].temperatures[1].c", func(a *life.Assembly) {
			a.Conditions[0].Temperatures = []life.TemperatureShare{{C: 60, Share: 0.7}, {C: -300, Share: 0.3}}
		}},
		{"conditions[0].adapter_bar", func(a *life.Assembly) { a.Conditions[0].AdapterBar = ptr(0.0) }},
		{"conditions[0].working_bar", func(a *life.Assembly) { a.Conditions[0].WorkingBar = ptr(1100.0) }},
		{"conditions[0].cycles[1].max_bar", func(a *life.Assembly) {
			a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 100, Count: 1}, {MaxBar: 1100, Count: 1}}
		}},
		{"conditions[0].cycles[0].max_bar", func(a *life.Assembly) { // burst falls with the adapter
			a.Conditions[0].AdapterBar, a.Conditions[0].Cycles = ptr(50.0), []life.Cycle{{MaxBar: 200, Count: 1}}
		}},
		{"conditions[0].cycles[0].max_bar", func(a *life.Assembly) { a.Conditions[0].Cycles = []life.Cycle{{MinBar: -5, MaxBar: 0, Count: 1}} }},
		{"conditions[0].cycles[0].min_bar", func(a *life.Assembly) { a.Conditions[0].Cycles = []life.Cycle{{MinBar: 100, MaxBar: 100, Count: 1}} }},
		{"conditions[0].cycles[0].per_hour", func(a *life.Assembly) { a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 100, Count: -1}} }},
		{"conditions[0].cycles[0].units_per_hour", func(a *life.Assembly) {
			a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 100, Count: 1, Per: "lift", PerHour: ptr(0.0)}}
		}},
		{"stints[0].from", func(a *life.Assembly) { a.Stints[0].From = day("2019-12-31") }},
		{"stints[0].to", func(a *life.Assembly) { a.Stints[0].To = day("2019-12-31") }},
		{"stints[1].from", func(a *life.Assembly) { a.Stints = append(a.Stints, life.Stint{From: day("2020-02-01")}) }},
		{"fitted", func(a *life.Assembly) { a.Fitted = noDate }},
		{"findings[0].on", func(a *life.Assembly) { a.Findings = []life.Finding{{Class: life.Stop}} }},
		{"findings[0].class", func(a *life.Assembly) { a.Findings = []life.Finding{{On: day("2020-02-01"), Class: "bad"}} }},
		{"findings[0].by", func(a *life.Assembly) {
			a.Findings = []life.Finding{{On: day("2020-02-01"), Class: life.Stop, By: day("2020-01-01")}}
		}},
		{"findings[0].released", func(a *life.Assembly) {
			a.Findings = []life.Finding{{On: day("2020-02-01"), Class: life.Stop, Closed: day("2020-01-01")}}
		}},
	} {
		a := plain(t)
		c.edit(&a)
		err := life.Check(a, day("2020-07-01"))
		var f *life.FieldError
		if !errors.As(err, &f) || f.Field != c.field {
			t.Errorf("%s: %v", c.field, err)
			continue
		}
		if !strings.HasSuffix(f.Sentence, ".") || strings.Contains(f.Sentence, "%!") || len(f.Sentence) < 15 {
			t.Errorf("%s: %q is no sentence", c.field, f.Sentence)
		}
		if _, err := life.Of(&a, day("2020-07-01")); err == nil {
			t.Errorf("%s: an estimate was made", c.field)
		}
		if _, err := life.Working(&a, day("2020-07-01")); err == nil {
			t.Errorf("%s: a working was made", c.field)
		}
	}
	a := plain(t)
	if err := life.Check(a, day("2020-07-01")); err != nil {
		t.Errorf("nothing is wrong: %v", err)
	}
	var f *life.FieldError
	if err := life.Check(a, quantity.Date{}); !errors.As(err, &f) || f.Field != "as_of" {
		t.Errorf("no day: %v", err)
	}
}

// extreme numbers and days, and ordinary ones, so that some get through.
func anyFloat() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64Range(0, 300), rapid.Float64Range(0, 300), rapid.SampledFrom([]float64{
		0, math.Copysign(0, -1), 1, 1e-300, 5e-324, 1e-9, 0.01, 99.99999999999999, 1e5, 1e6, 1e9, 1e15, 1e300, math.MaxFloat64, -1, -100, math.Inf(1), math.Inf(-1), math.NaN(),
		0.010000000000000002, 399.99999999999994, 500, -20, 100,
	}))
}

func anyDay(t *rapid.T, label string) quantity.Date {
	switch rapid.IntRange(0, 9).Draw(t, label+" kind") {
	case 0:
		return quantity.Date{}
	case 1:
		return quantity.DateOfDayNumber(rapid.IntRange(1, quantity.MaxDate.DayNumber()).Draw(t, label))
	}
	return asOfDay.AddDays(rapid.IntRange(-3000, 500).Draw(t, label))
}

// wild fills a value by reflection with anything its type can hold.
func wild(t *rapid.T, v reflect.Value, label string) {
	switch v.Interface().(type) {
	case quantity.Date:
		v.Set(reflect.ValueOf(anyDay(t, label)))
		return
	case *usage.Hours:
		if rapid.Bool().Draw(t, label+" known") {
			v.Set(reflect.ValueOf(hoursOf(t, machine(t, label))))
		}
		return
	case life.Class:
		v.SetString(rapid.SampledFrom([]string{"stop", "replace", "correct", "watch", "sound", ""}).Draw(t, label))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			wild(t, v.Field(i), label+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice:
		n := rapid.IntRange(0, 3).Draw(t, label+" length")
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			wild(t, v.Index(i), label)
		}
	case reflect.Pointer:
		if rapid.Bool().Draw(t, label+" known") {
			v.Set(reflect.New(v.Type().Elem()))
			wild(t, v.Elem(), label)
		}
	case reflect.Float64:
		v.SetFloat(anyFloat().Draw(t, label))
	case reflect.Int:
		v.SetInt(int64(rapid.OneOf(rapid.IntRange(-1, 1201), rapid.IntRange(1, 90)).Draw(t, label)))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, label))
	case reflect.String:
		v.SetString(rapid.SampledFrom([]string{"", "wire braid", "NBR", "water", "lift", "hour", "textile", "\x00<b>"}).Draw(t, label))
	default:
		t.Fatalf("no value for %s", v.Type())
	}
}

// infinite is the path of the first number that is not finite, "" if all are.
func infinite(v reflect.Value, path string) string {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return path
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return infinite(v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			if p := infinite(v.Index(i), path+"[]"); p != "" {
				return p
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if p := infinite(v.Field(i), path+"."+v.Type().Field(i).Name); p != "" {
				return p
			}
		}
	}
	return ""
}

// settle gives an answer or a named error, and finite numbers.
func settle(t *rapid.T, a *life.Assembly, asOf quantity.Date) bool {
	e, err := life.Of(a, asOf)
	if err != nil {
		var f *life.FieldError
		if !errors.As(err, &f) || f.Field == "" || f.Sentence == "" {
			t.Fatalf("error without a field: %v", err)
		}
		return false
	}
	if p := infinite(reflect.ValueOf(e), "estimate"); p != "" {
		t.Fatalf("%s is not finite", p)
	}
	steps, err := life.Working(a, asOf)
	if err != nil {
		t.Fatalf("working: %v", err)
	}
	for _, s := range steps {
		if text := s.Formula + s.Value; strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || s.Name == "" || s.Value == "" || s.Source == "" {
			t.Fatalf("step %+v", s)
		}
	}
	if err := life.MayFit(a, asOf); err != nil && err.Error() == "" {
		t.Fatal("refused without a reason")
	}
	return true
}

func TestOf_AnythingIsAnsweredOrRefused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a life.Assembly
		wild(t, reflect.ValueOf(&a).Elem(), "assembly")
		settle(t, &a, anyDay(t, "as of"))
	})
}

// One field of a good assembly at a time goes wild, so that extremes reach the
// clocks and are not all stopped at the first check.
func TestOf_OneWildFieldIsAnsweredOrRefused(t *testing.T) {
	answered, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		b := deep(a)
		var places []reflect.Value
		var names []string
		collect(reflect.ValueOf(&b).Elem(), "", &places, &names)
		for range rapid.IntRange(1, 3).Draw(t, "how many") {
			i := rapid.IntRange(0, len(places)-1).Draw(t, "which")
			wild(t, places[i], names[i])
		}
		if settle(t, &b, asOfDay) {
			answered++
		} else {
			refused++
		}
	})
	if answered == 0 || refused == 0 {
		t.Fatalf("%d answered, %d refused", answered, refused)
	}
}

// collect lists the leaves of a value that can be set.
func collect(v reflect.Value, name string, places *[]reflect.Value, names *[]string) {
	switch v.Interface().(type) {
	case quantity.Date, *usage.Hours:
		*places, *names = append(*places, v), append(*names, name)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			collect(v.Field(i), name+"."+v.Type().Field(i).Name, places, names)
		}
	case reflect.Slice:
		for i := range v.Len() {
			collect(v.Index(i), name, places, names)
		}
	default:
		*places, *names = append(*places, v), append(*names, name)
	}
}
