package exchange

import (
	"testing"

	"hoseward/internal/life"
)

// What a line leaves out of the hose comes from the published table of its
// designation and size, so that the hose's own impulse test is not forgotten.
// Values: EN 853 1SN in DN 31 is tested at 100 % for 150 000 cycles, R12 at
// 133 % and 120 degrees for 500 000 (trade tables; from memory in part).
func TestLifeReader_TakesWhatIsLeftOutFromTheTable(t *testing.T) {
	num := func(v *float64) float64 {
		if v == nil {
			return 0
		}
		return *v
	}
	for _, c := range []struct {
		promise, hose                string
		construction                 string
		maxC, percent, cycles, testC float64
		differs                      float64
	}{
		{"all of it", `{"designation":"EN 853 1SN","dn":31,"rated_bar":63}`, "wire braid", 100, 100, 150000, 100, 0},
		{"in any spelling", `{"designation":"en 856 r12","dn":25,"rated_bar":280}`, "wire spiral", 120, 133, 500000, 120, 0},
		{"what is stated stays", `{"designation":"EN 853 1SN","dn":31,"rated_bar":63,"construction":"textile","max_c":90,"impulse_percent":133,"impulse_cycles":200000}`, "textile", 90, 133, 200000, 0, 0},
		{"a stated test temperature stays", `{"designation":"EN 853 1SN","dn":31,"rated_bar":63,"impulse_temp_c":93}`, "wire braid", 100, 100, 150000, 93, 0},
		{"a textile hose has no curve", `{"designation":"SAE 100R3","dn":12,"rated_bar":69}`, "textile", 100, 0, 0, 0, 0},
		{"another rating is used and warned of", `{"designation":"EN 853 2SN","dn":12,"rated_bar":300}`, "wire braid", 100, 133, 200000, 100, 275},
		{"an unknown designation gives nothing", `{"designation":"XYZ 9","dn":12,"rated_bar":275}`, "", 0, 0, 0, 0, 0},
		{"without a size nothing", `{"designation":"EN 853 1SN","rated_bar":63}`, "", 0, 0, 0, 0, 0},
		{"without a designation nothing", `{"dn":31,"rated_bar":63}`, "", 0, 0, 0, 0, 0},
	} {
		var l LifeReader
		a, _, err := l.Read([]byte(`{"id":"a","as_of":"2026-11-25","fitted":"2024-07-02","hose":` + c.hose + `}`))
		if err != nil {
			t.Errorf("%s: %v", c.promise, err)
			continue
		}
		h := a.Hose
		if h.Construction != c.construction || num(h.MaxC) != c.maxC || num(h.ImpulsePercent) != c.percent ||
			num(h.ImpulseCycles) != c.cycles || num(h.ImpulseTempC) != c.testC || num(a.TableBar) != c.differs {
			t.Errorf("%s: %s, %v C, %v %% x %v at %v C, table %v", c.promise, h.Construction, num(h.MaxC),
				num(h.ImpulsePercent), num(h.ImpulseCycles), num(h.ImpulseTempC), num(a.TableBar))
		}
	}
}

// A designation whose own test is stricter than the reference is never milder
// left to the table than written out.
func TestCalcLife_DesignationAloneIsNotMilder(t *testing.T) {
	const row = `[{"from":"2024-07-02","recorded":true,"fluid_c":60,"cycles":[{"min_bar":0,"max_bar":60,"per_hour":200}]}]`
	due := func(hose string) string {
		a := calcLines(t, Plain, with(t, map[string]string{"hose": hose, "conditions": row}))[0]
		d, _ := a["due"].(string)
		return d + " " + a["governing"].(string)
	}
	alone := due(`{"designation":"EN 853 1SN","dn":31,"rated_bar":63,"made":"2024-04-01","tube":"NBR"}`)
	written := due(`{"designation":"EN 853 1SN","construction":"wire braid","tube":"NBR","dn":31,"rated_bar":63,"made":"2024-04-01","max_c":100,"impulse_percent":100,"impulse_cycles":150000,"impulse_temp_c":100}`)
	if alone != written || alone[11:] != string(life.PressureClock) {
		t.Errorf("by the table %s, written out %s", alone, written)
	}
}
