package exchange

import (
	"fmt"
	"strings"
	"testing"
)

func TestCalcLife_RefusesByName(t *testing.T) {
	for _, row := range []struct{ why, line, says string }{
		{"an unknown key", with(t, map[string]string{"colour": `"red"`}), "colour: is not a known key"},
		{"an unknown key inside", with(t, map[string]string{"hose.colour": `"red"`}), "hose.colour: is not a known key"},
		{"an unknown key in the second element", with(t, map[string]string{"ends": `[{"rated_bar":250},{"bar":1}]`}), "ends[1].bar: is not a known key"},
		{"an unknown key two lists down", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","cycles":[{"min_bar":0,"max_bar":1,"per_hour":1,"x":2}]}]`}), "conditions[0].cycles[0].x: is not a known key"},
		{"a key in capitals", strings.Replace(example(t), `"fluid"`, `"Fluid"`, 1), "Fluid: is not a known key"},
		{"a key twice", strings.Replace(example(t), `{"id"`, `{"fluid":"water","id"`, 1), "fluid: stands twice"},
		{"a key twice, once in disguise", strings.Replace(example(t), `{"id"`, `{"\u0066luid":"water","id"`, 1), "fluid: stands twice"},
		{"no id", with(t, map[string]string{"id": ""}), "id: is missing"},
		{"a null id", with(t, map[string]string{"id": "null"}), "id: is missing"},
		{"an id of spaces", with(t, map[string]string{"id": `" "`}), "id: is missing"},
		{"an id of two lines", with(t, map[string]string{"id": `"a\nb"`}), "id: holds a control character"},
		{"an id that is a number", with(t, map[string]string{"id": "12"}), "id: is a number, must be a text in quotes"},
		{"no as_of", with(t, map[string]string{"as_of": ""}), "as_of: is missing"},
		{"no rating", with(t, map[string]string{"hose.rated_bar": ""}), "hose.rated_bar: is missing"},
		{"no hose", with(t, map[string]string{"hose": "null"}), "hose.rated_bar: is missing"},
		{"not fitted", with(t, map[string]string{"fitted": "null"}), "fitted: is missing"},
		{"a day that is none", with(t, map[string]string{"fitted": `"2024-02-30"`}), "fitted: \"2024-02-30\" is not a date"},
		{"a date that is a number", with(t, map[string]string{"fitted": "20240702"}), "fitted: is a number, must be a date"},
		{"a date in another form", with(t, map[string]string{"hose.made": `"01.04.2024"`}), "hose.made: "},
		{"a number that is a text", with(t, map[string]string{"hose.rated_bar": `"275"`}), "hose.rated_bar: is a text, must be a number"},
		{"a number too large", with(t, map[string]string{"hose.rated_bar": "1e999"}), "hose.rated_bar: 1e999 is too large"},
		{"a negative rating", with(t, map[string]string{"hose.rated_bar": "-275"}), "hose.rated_bar: "},
		{"half a month", with(t, map[string]string{"policy.inspect_months": "6.5"}), "policy.inspect_months: is 6.5"},
		{"a flag that is a text", with(t, map[string]string{"can_hurt": `"no"`}), "can_hurt: is a text, must be true or false"},
		{"three ends", with(t, map[string]string{"ends": `[{},{},{}]`}), "ends[2]: is a third end"},
		{"a policy nobody ships", with(t, map[string]string{"policy": `"summer"`}), `policy: "summer" is not a shipped policy`},
		{"a shipped name without limits", with(t, map[string]string{"policy": `{"name":"normal demand"}`}), "policy: has the name of a shipped policy and no limits"},
		{"another way to combine", with(t, map[string]string{"policy.combine": `"product"`}), "policy.combine: "},
		{"a cycle without peak", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","cycles":[{"min_bar":0,"per_hour":1}]}]`}), "conditions[0].cycles[0]: needs min_bar, max_bar and per_hour"},
		{"a cycle of null", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","cycles":[{"min_bar":null,"max_bar":1,"per_hour":1}]}]`}), "conditions[0].cycles[0].min_bar: is null"},
		{"a peak at burst", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","cycles":[{"min_bar":0,"max_bar":1000,"per_hour":1}]}]`}), "conditions[0].cycles[0].max_bar: "},
		{"shares that do not sum to 1", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","temperatures":[{"c":60,"share":0.5}]}]`}), "conditions[0].temperatures"},
		{"a temperature without share", with(t, map[string]string{"conditions": `[{"from":"2024-07-02","temperatures":[{"c":60}]}]`}), "conditions[0].temperatures[0]: needs c and share"},
		{"conditions without a day", with(t, map[string]string{"conditions": `[{"fluid_c":60}]`}), "conditions[0].from: "},
		{"a reading without hours", with(t, map[string]string{"readings": `[{"on":"2025-07-01"}]`}), "readings[0]: needs on and hours"},
		{"a falling meter", with(t, map[string]string{"readings": `[{"on":"2025-07-01","hours":4870},{"on":"2026-11-20","hours":4000}]`, "meter_events": "[]"}), "readings[1]: "},
		{"the hours at fitting are above a later reading", with(t, map[string]string{"fitted_hours": "5000", "meter_events": "[]"}), "the meter falls from 5000 h on 2024-07-02 to 4870 h"},
		{"the hours at fitting are below an earlier reading", with(t, map[string]string{"readings": `[{"on":"2024-01-01","hours":4000}]`, "meter_events": "[]"}), "fitted_hours: the meter falls"},
		{"the hours at fitting contradict a reading of that day", with(t, map[string]string{"readings": `[{"on":"2024-07-02","hours":3000}]`, "meter_events": "[]"}), "fitted_hours: "},
		{"a lay-up that ends first", with(t, map[string]string{"laid_up": `[{"from":"2026-01-07","to":"2025-12-20"}]`}), "laid_up[0]: "},
		{"a meter event without new start", with(t, map[string]string{"meter_events": `[{"on":"2025-07-01","old_end":1}]`}), "meter_events[0]: needs on, old_end and new_start"},
		{"more hours than a week has", with(t, map[string]string{"planned_hours_per_week": "200"}), "planned_hours_per_week: "},
		{"a finding of no class", with(t, map[string]string{"findings": `[{"on":"2026-05-30","class":"bad"}]`}), "findings[0].class: "},
		{"as of before the fitting", with(t, map[string]string{"as_of": `"2024-01-01"`}), "as_of: "},
		{"a list that is an object", with(t, map[string]string{"readings": `{}`}), "readings: is an object {...}, must be a list"},
		{"no object", `[]`, "is a list [...], must be an object"},
		{"null", `null`, "'n' stands where an object"},
		{"noise", "\x00\x01", "stands where an object"},
		{"not UTF-8", "{\"id\":\"\xff\"}", "not UTF-8"},
		{"something behind", minimal + `{}`, "'{' stands where the end of the line should"},
		{"cut off", minimal[:40], "has no closing quote"},
		{"cut off between values", minimal[:len(minimal)-1], "ends where a comma or } should stand"},
		{"a trailing comma", minimal[:len(minimal)-1] + ",}", "'}' stands where a key in quotes should"},
		{"a leading zero", strings.Replace(minimal, "275", "0275", 1), "is not a number as JSON writes it"},
		{"a bare word", strings.Replace(minimal, "275", "NaN", 1), "hose.rated_bar: 'N' stands where a number should"},
		{"half a surrogate pair", strings.Replace(minimal, `"a"`, `"\ud800"`, 1), "id: holds an escape that is none"},
		{"a text too long", strings.Replace(minimal, `"a"`, `"`+strings.Repeat("a", maxText+1)+`"`, 1), "id: is a text of 1001 bytes"},
		{"a list too long", with(t, map[string]string{"readings": "[" + strings.Repeat(`{"on":"2025-07-01","hours":1},`, maxElements) + "{}]"}), "readings[10000]: is one more than"},
	} {
		t.Run(row.why, func(t *testing.T) {
			got := calcLines(t, Plain, "", row.line)[0]
			hasKeys(t, "error", got, []string{"line", "error"})
			if got["line"] != 2.0 || !strings.Contains(fmt.Sprint(got["error"]), row.says) {
				t.Errorf("got %v, want line 2 to say %q", got, row.says)
			}
		})
	}
}
