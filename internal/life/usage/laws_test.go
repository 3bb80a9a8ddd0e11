package usage_test

import (
	"math"
	"slices"
	"sort"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

var all = [...]usage.Path{usage.Fast, usage.Likely, usage.Slow}

// drawn is a series that can be true, with the hours a meter that was never
// replaced would have shown on each observed day.
type drawn struct {
	series usage.Series
	asOf   quantity.Date
	first  int // day number of the first observation
	last   int
	total  map[int]float64
}

// possible draws a series that can be true: readings whole days apart, no more
// than 24 h a day out of lay-up, now and then a meter replaced.
func possible() *rapid.Generator[drawn] {
	return rapid.Custom(func(r *rapid.T) drawn {
		d := drawn{total: map[int]float64{}}
		on := day("2024-01-01").AddDays(rapid.IntRange(0, 400).Draw(r, "start"))
		for range rapid.IntRange(0, 4).Draw(r, "lay-ups") {
			from := day("2023-10-01").AddDays(rapid.IntRange(0, 1200).Draw(r, "from"))
			d.series.LaidUp = append(d.series.LaidUp, usage.LayUp{From: from, To: from.AddDays(rapid.IntRange(0, 90).Draw(r, "days"))})
		}
		if rapid.Bool().Draw(r, "planned") {
			d.series.PlannedPerWeek = per(rapid.Float64Range(0.5, 168).Draw(r, "hours a week"))
		}
		shows := float64(rapid.IntRange(0, 9000).Draw(r, "meter"))
		total := shows
		d.first, d.last = on.DayNumber(), on.DayNumber()
		for i := range rapid.IntRange(0, 25).Draw(r, "readings") {
			if i > 0 {
				step := rapid.IntRange(1, 60).Draw(r, "step")
				out := 0
				for k := range step {
					if !idleOn(d.series.LaidUp, on.DayNumber()+k) {
						out++
					}
				}
				ran := math.Floor(float64(out) * 24 * rapid.Float64Range(0, 1).Draw(r, "share"))
				on, shows, total = on.AddDays(step), shows+ran, total+ran
			}
			d.total[on.DayNumber()], d.last = total, on.DayNumber()
			if i > 0 && rapid.IntRange(0, 9).Draw(r, "replaced") == 0 {
				start := float64(rapid.IntRange(0, 500).Draw(r, "new start"))
				d.series.Events = append(d.series.Events, usage.MeterEvent{On: on, OldEnd: shows, NewStart: start})
				shows = start
			} else {
				d.series.Readings = append(d.series.Readings, usage.Reading{On: on, Hours: shows})
			}
		}
		d.asOf = on.AddDays(rapid.IntRange(0, 400).Draw(r, "days since"))
		return d
	})
}

func idleOn(laidUp []usage.LayUp, n int) bool {
	for _, l := range laidUp {
		if n >= l.From.DayNumber() && n < l.To.DayNumber() {
			return true
		}
	}
	return false
}

// TestHours_AsDayByDay holds past and rates to a plain count, day by day and
// pair by pair.
func TestHours_AsDayByDay(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		x, err := usage.New(d.series, d.asOf)
		if err != nil {
			r.Fatal(err)
		}
		if x == nil || len(d.total) == 0 {
			return
		}
		days := []int{}
		for n := range d.total {
			days = append(days, n)
		}
		slices.Sort(days)
		if x.Basis().First.DayNumber() != d.first {
			r.Fatalf("first observation %v, want day %d", x.Basis().First, d.first)
		}
		for i := 1; i < len(days); i++ {
			out := 0
			for n := days[i-1]; n < days[i]; n++ {
				if !idleOn(d.series.LaidUp, n) {
					out++
				}
			}
			hours, ran := d.total[days[i-1]], d.total[days[i]]-d.total[days[i-1]]
			for n := days[i-1]; n < days[i]; n++ {
				if got := x.At(usage.Likely, float64(n)); math.Abs(got-hours) > 1e-6 {
					r.Fatalf("day %d: %v h, counted %v", n, got, hours)
				}
				if !idleOn(d.series.LaidUp, n) {
					hours += ran / float64(out)
				}
			}
		}
		expectRate(r, d, days, x)
	})
}

// expectRate works the rate to come out anew where it is a median of slopes.
func expectRate(r *rapid.T, d drawn, days []int, x *usage.Hours) {
	from := 0
	for from < len(days)-1 && days[from+1] < d.last-180 {
		from++
	}
	window := days[from:]
	active := func(a, b int) (n int) {
		for ; a < b; a++ {
			if !idleOn(d.series.LaidUp, a) {
				n++
			}
		}
		return n
	}
	b := x.Basis()
	if enough := len(window) >= 3 && active(window[0], d.last) >= 28; enough != (b.Method == usage.TheilSen) && !b.Stale {
		r.Fatalf("by %s with %d readings in %d days", b.Method, len(window), active(window[0], d.last))
	}
	if b.Method != usage.TheilSen {
		return
	}
	var slopes []float64
	for i, m := range window {
		for _, n := range window[i+1:] {
			if out := active(m, n); out > 0 {
				slopes = append(slopes, (d.total[n]-d.total[m])/float64(out))
			}
		}
	}
	sort.Float64s(slopes)
	at := func(p float64) float64 {
		h := float64(len(slopes)-1) * p
		k := math.Floor(h)
		return 7 * (slopes[int(k)] + (h-k)*(slopes[int(math.Ceil(h))]-slopes[int(k)]))
	}
	median, q10, q90 := at(0.5), at(0.1), at(0.9)
	if !near(b.SlopePerWeek, median) || !near(b.Q10PerWeek, q10) || !near(b.Q90PerWeek, q90) {
		r.Fatalf("slopes %v %v %v; from all pairs %v %v %v", b.Q10PerWeek, b.SlopePerWeek, b.Q90PerWeek, q10, median, q90)
	}
	if b.Stale {
		return
	}
	if !near(x.PerWeek(usage.Likely), median) || !near(x.PerWeek(usage.Fast), min(168, max(q90, 1.15*median))) || !near(x.PerWeek(usage.Slow), min(q10, 0.85*median)) {
		r.Fatalf("rates %v %v %v from %v %v %v", x.PerWeek(usage.Fast), x.PerWeek(usage.Likely), x.PerWeek(usage.Slow), q90, median, q10)
	}
}

func TestHours_Laws(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		x, err := usage.New(d.series, d.asOf)
		if err != nil {
			r.Fatal(err)
		}
		if x == nil {
			return
		}
		some := rapid.Float64Range(float64(d.first)-500, float64(d.asOf.DayNumber())+900)
		a, b := some.Draw(r, "a"), some.Draw(r, "b")
		a, b = min(a, b), max(a, b)
		for _, p := range all {
			if ran := x.At(p, b) - x.At(p, a); !(ran >= -1e-9 && ran <= 24*(b-a)+1e-6) {
				r.Fatalf("path %d: %v h in %v days", p, ran, b-a)
			}
			if x.Between(p, a, b) < 0 || x.Between(p, b, a) != 0 {
				r.Fatalf("path %d: hours between run backwards", p)
			}
			if len(d.total) > 0 && b <= float64(d.last) && x.At(p, b) != x.At(usage.Likely, b) {
				r.Fatalf("path %d parts from the others before the last reading", p)
			}
		}
		if a >= float64(d.last) {
			fast, likely, slow := x.Between(usage.Fast, a, b), x.Between(usage.Likely, a, b), x.Between(usage.Slow, a, b)
			if fast < likely-1e-9 || likely < slow-1e-9 {
				r.Fatalf("fast %v, likely %v, slow %v", fast, likely, slow)
			}
		}
		breaks := x.Breaks()
		if len(breaks) == 0 || !slices.IsSorted(breaks) {
			r.Fatalf("breaks %v", breaks)
		}
	})
}

// TestHours_StretchesAddUp: walking from stretch to stretch meets the same
// hours as asking for them.
func TestHours_StretchesAddUp(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		x, err := usage.New(d.series, d.asOf)
		if err != nil || x == nil {
			return
		}
		from := float64(d.first) - rapid.Float64Range(0, 300).Draw(r, "before")
		to := float64(d.asOf.DayNumber()) + rapid.Float64Range(0, 300).Draw(r, "after")
		for _, p := range all {
			var sum float64
			steps := 0
			for at := from; at < to; steps++ {
				rate, until := x.Stretch(p, at)
				if !(until > at) || steps > 1000 {
					r.Fatalf("path %d: stretch from %v to %v after %d steps", p, at, until, steps)
				}
				sum += rate * (min(until, to) - at)
				at = until
			}
			if got := x.Between(p, from, to); math.Abs(got-sum) > 1e-6*max(1, sum) {
				r.Fatalf("path %d: %v h, by stretches %v", p, got, sum)
			}
		}
	})
}

func TestFirst_IsTheFirst(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		x, err := usage.New(d.series, d.asOf)
		if err != nil || x == nil {
			return
		}
		t0 := float64(d.first) + rapid.Float64Range(-300, 1500).Draw(r, "from")
		perDay := rapid.SampledFrom([]float64{0, 1, 0.5}).Draw(r, "per day")
		perHour := rapid.SampledFrom([]float64{0, 1, 0.02}).Draw(r, "per hour")
		target := rapid.Float64Range(0, 5000).Draw(r, "target")
		for _, p := range all {
			worn := func(t float64) float64 { return perDay*(t-t0) + perHour*x.Between(p, t0, t) }
			got, ok := x.First(p, t0, perDay, perHour, target)
			if !ok {
				if end := float64(d.asOf.DayNumber() + 200*365); t0 < end && worn(end) > target {
					r.Fatalf("path %d: not found, but worn %v of %v at the end", p, worn(end), target)
				}
				continue
			}
			if !(got >= t0) || math.Abs(worn(got)-target) > 1e-5*max(1, target) {
				r.Fatalf("path %d: at %v worn %v, want %v", p, got, worn(got), target)
			}
			// A minute and a half before it is not reached, even where the machine
			// rests from the day that reaches it.
			if early := got - 1e-3; early > t0 && worn(early) >= target {
				r.Fatalf("path %d: worn %v of %v before %v", p, worn(early), target, got)
			}
			if later, ok := x.First(p, t0, perDay, perHour, target*1.01); ok && later < got {
				r.Fatalf("path %d: more wear is reached earlier", p)
			}
		}
	})
}

func TestNew_OrderChangesNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		s := d.series
		x, err := usage.New(s, d.asOf)
		if err != nil {
			r.Fatal(err)
		}
		if len(s.Readings) > 0 {
			s.Readings = append(rapid.Permutation(s.Readings).Draw(r, "readings"), s.Readings[0])
		}
		if len(s.Events) > 0 {
			s.Events = rapid.Permutation(s.Events).Draw(r, "events")
		}
		if len(s.LaidUp) > 0 {
			s.LaidUp = rapid.Permutation(s.LaidUp).Draw(r, "lay-ups")
			// One of them in two parts that touch.
			l := s.LaidUp[0]
			mid := l.From.AddDays(l.To.Sub(l.From) / 2)
			s.LaidUp = append(slices.Clone(s.LaidUp[1:]), usage.LayUp{From: mid, To: l.To}, usage.LayUp{From: l.From, To: mid})
		}
		y, err := usage.New(s, d.asOf)
		if err != nil || (x == nil) != (y == nil) {
			r.Fatalf("%v and %v, %v", x, y, err)
		}
		if x == nil {
			return
		}
		if x.Basis() != y.Basis() || !slices.Equal(x.Breaks(), y.Breaks()) {
			r.Fatalf("basis %+v, breaks %v; in another order %+v, %v", x.Basis(), x.Breaks(), y.Basis(), y.Breaks())
		}
		for _, p := range all {
			at := float64(d.first) + rapid.Float64Range(-300, 1500).Draw(r, "at")
			if x.At(p, at) != y.At(p, at) || x.PerWeek(p) != y.PerWeek(p) {
				r.Fatalf("path %d at %v: %v and %v", p, at, x.At(p, at), y.At(p, at))
			}
		}
	})
}

// TestNew_MorePlannedIsNeverLess: where planned hours count, more of them give
// no less on any path, before and after.
func TestNew_MorePlannedIsNeverLess(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		d.series.PlannedPerWeek = per(rapid.Float64Range(1, 160).Draw(r, "planned"))
		x, err := usage.New(d.series, d.asOf)
		if err != nil || x == nil {
			r.Fatal(x, err)
		}
		d.series.PlannedPerWeek = per(*d.series.PlannedPerWeek + rapid.Float64Range(0, 8).Draw(r, "more"))
		y, err := usage.New(d.series, d.asOf)
		if err != nil || y == nil {
			r.Fatal(y, err)
		}
		some := rapid.Float64Range(float64(d.first)-500, float64(d.asOf.DayNumber())+900)
		a, b := some.Draw(r, "a"), some.Draw(r, "b")
		a, b = min(a, b), max(a, b)
		for _, p := range all {
			if x.Between(p, a, b) > y.Between(p, a, b)+1e-6 {
				r.Fatalf("path %d: %v h become %v", p, x.Between(p, a, b), y.Between(p, a, b))
			}
		}
	})
}

// TestSlopesOf_AsSorting holds the quantiles to plain sorting, with ties and
// far-off values in them.
func TestSlopesOf_AsSorting(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(r, "n")
		value := rapid.OneOf(rapid.Map(rapid.IntRange(-5, 5), func(i int) float64 { return float64(i) }), rapid.Float64Range(-1e9, 1e9), rapid.Float64Range(-1e-9, 1e-9))
		y := rapid.SliceOfN(value, n, n).Draw(r, "y")
		var slopes []float64
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i)
			for j := range i {
				slopes = append(slopes, (y[i]-y[j])/float64(i-j))
			}
		}
		sort.Float64s(slopes)
		at := func(p float64) float64 {
			h := float64(len(slopes)-1) * p
			k := int(h)
			return slopes[k] + (h-float64(k))*(slopes[min(k+1, len(slopes)-1)]-slopes[k])
		}
		got, err := usage.SlopesOf(x, y)
		if err != nil || got.Q10 != at(0.1) || got.Median != at(0.5) || got.Q90 != at(0.9) {
			r.Fatalf("%+v, %v; by sorting %v %v %v", got, err, at(0.1), at(0.5), at(0.9))
		}
	})
}

// FuzzNew reads any bytes as a series: an answer is made of finite numbers,
// anything else is an error with a sentence.
func FuzzNew(f *testing.F) {
	f.Add([]byte{0, 10, 0, 100, 0, 40, 1, 0, 0, 90, 2, 0}, 35.0, uint16(400))
	f.Add([]byte{1, 10, 0, 100, 2, 40, 1, 0, 3, 90, 2, 0}, math.NaN(), uint16(0))
	f.Fuzz(func(t *testing.T, data []byte, planned float64, asOf uint16) {
		s := usage.Series{PlannedPerWeek: &planned}
		base := day("2024-01-01")
		for ; len(data) >= 4; data = data[4:] {
			on := base.AddDays(int(data[1]) * 4)
			v := float64(data[2])*10 + float64(data[3])/10
			switch data[0] % 6 {
			case 0, 1, 2:
				s.Readings = append(s.Readings, usage.Reading{On: on, Hours: v})
			case 3:
				s.Events = append(s.Events, usage.MeterEvent{On: on, OldEnd: v, NewStart: float64(data[3])})
			case 4:
				s.LaidUp = append(s.LaidUp, usage.LayUp{From: on, To: on.AddDays(int(data[2]))})
			case 5:
				s.LaidUp = append(s.LaidUp, usage.LayUp{From: on})
			}
		}
		if planned == 0 {
			s.PlannedPerWeek = nil
		}
		x, err := usage.New(s, base.AddDays(int(asOf)))
		if err != nil {
			if x != nil || len(err.Error()) < 20 {
				t.Fatalf("%v, %v", x, err)
			}
			return
		}
		if x == nil {
			return
		}
		for _, p := range all {
			last := math.Inf(-1)
			for n := -200; n < 2500; n += 7 {
				h := x.At(p, float64(base.DayNumber()+n)+0.25)
				if math.IsNaN(h) || math.IsInf(h, 0) || h < last-1e-9 {
					t.Fatalf("path %d: %v h after %v", p, h, last)
				}
				last = h
			}
			if u, ok := x.When(p, float64(base.DayNumber()), 1000); ok && (math.IsNaN(u) || u < float64(base.DayNumber())) {
				t.Fatalf("path %d: 1000 h at %v", p, u)
			}
			if w := x.PerWeek(p); !(w >= 0 && w <= 168+1e-9) {
				t.Fatalf("path %d: %v h a week", p, w)
			}
		}
	})
}
