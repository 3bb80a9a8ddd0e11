package store_test

import (
	"context"
	"database/sql"
	"flag"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// promised is how many assemblies the promises about speed are about; the flag
// tries others.
const promised = 100000

var benchAssemblies = flag.Int("assemblies", promised, "how many assemblies BenchmarkReestimateAll has, from 1000 up")

// BenchmarkReestimateAll works out and stores every estimate of a register,
// and holds the time against plain reading and writing: all rows the estimates
// are made from scanned once, and the same estimates stored in the same
// batches, through the same driver, with nothing worked out. The promise is a
// ratio of at most 3.
func BenchmarkReestimateAll(b *testing.B) {
	n := max(*benchAssemblies, 1000) / 20 * 20 // 20 on a machine
	ctx := context.Background()
	s := open(b, filepath.Join(b.TempDir(), "bench.db"))
	crowd(b, s, n)
	var work, plain time.Duration
	for b.Loop() {
		unmake(b, s)
		start := time.Now()
		made, err := s.ReestimateAll(ctx, now, nil)
		if err != nil || made != n {
			b.Fatalf("estimated %d of %d: %v", made, n, err)
		}
		work += time.Since(start)
		rows, err := s.Estimates(ctx)
		if err != nil {
			b.Fatal(err)
		}
		for _, e := range rows[:10] {
			if e.Problem != "" || e.Due.IsZero() || e.HoursNow == nil {
				b.Fatalf("an estimate that says little: %+v", e)
			}
		}
		unmake(b, s)
		start = time.Now()
		readPlain(b, s)
		writePlain(b, s, rows)
		plain += time.Since(start)
	}
	each := func(d time.Duration) float64 { return float64(d.Microseconds()) / float64(b.N) / float64(n) }
	b.ReportMetric(float64(work)/float64(plain), "x-of-plain")
	b.ReportMetric(work.Seconds()/float64(b.N), "s/register")
	b.ReportMetric(plain.Seconds()/float64(b.N), "s-plain")
	b.ReportMetric(each(work), "µs/assembly")
}

// unmake takes the dates out of all estimates, so that storing them again, with
// all that is counted of them, is the same work each time.
func unmake(b *testing.B, s *store.Store) {
	b.Helper()
	if _, err := s.Raw().Exec("UPDATE estimates SET stale = TRUE, complete = FALSE, act_by = NULL, inspection_due = NULL"); err != nil {
		b.Fatal(err)
	}
}

// readPlain scans every row that bears on an estimate.
func readPlain(b *testing.B, s *store.Store) {
	b.Helper()
	for _, table := range []string{
		"sites", "policies", "duties", "machines", "circuits", "conditions", "readings", "meter_events", "lay_ups",
		"positions", "assemblies", "placements", "findings", "inspections",
	} {
		rows, err := s.Raw().Query("SELECT " + quoted(store.Columns()[table]) + " FROM " + table)
		if err != nil {
			b.Fatal(err)
		}
		values := make([]any, len(store.Columns()[table]))
		for i := range values {
			values[i] = new(sql.RawBytes)
		}
		for rows.Next() {
			if err := rows.Scan(values...); err != nil {
				b.Fatal(err)
			}
		}
		if err := rows.Err(); err != nil {
			b.Fatal(err)
		}
	}
}

func quoted(names []string) string { return `"` + strings.Join(names, `", "`) + `"` }

// writePlain stores the estimates again, in the batches of the job.
func writePlain(b *testing.B, s *store.Store, rows []register.Estimate) {
	b.Helper()
	for len(rows) > 0 {
		n := min(len(rows), 1000)
		if err := s.StoreEstimates(context.Background(), rows[:n]); err != nil {
			b.Fatal(err)
		}
		rows = rows[n:]
	}
}

// crowd fills a register with n invented assemblies, 20 on a machine, each
// machine with 36 monthly readings and 3 rows of conditions, each assembly
// with two inspections.
func crowd(tb testing.TB, s *store.Store, n int) {
	tb.Helper()
	apply(tb, s, register.AddSite{Name: "Depot", Zone: "Europe/Berlin"},
		register.SetDuty{Kind: "refuse truck", Service: register.Service{FluidC: f64(65), Cycles: register.Cycles{
			{MinBar: 0, MaxBar: 180, Count: 30}, {MinBar: 20, MaxBar: 120, Count: 60},
		}}})
	number := "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < "
	with := func(insert string, count int, rest string) string {
		return insert + " " + number + strconv.Itoa(count) + ") " + rest
	}
	m := n / 20
	cycles := `'[{"MinBar":0,"MaxBar":190,"Count":25},{"MinBar":10,"MaxBar":150,"Count":50},{"MinBar":0,"MaxBar":90,"Count":80},{"MinBar":30,"MaxBar":60,"Count":200},{"MinBar":0,"MaxBar":210,"Count":2}]'`
	day := func(expression string) string {
		if s.Engine() == store.Postgres {
			return "(DATE '2022-01-01' + CAST(" + expression + " AS integer))"
		}
		return "date('2022-01-01', '+' || CAST(" + expression + " AS text) || ' days')"
	}
	for _, q := range []string{
		with("INSERT INTO machines (site_id, kind_id, code, planned_hours_per_week, version)", m,
			"SELECT 1, (SELECT id FROM kinds WHERE name = 'refuse truck'), 'M-' || i, 30, 1 FROM n"),
		"INSERT INTO circuits (machine_id, name) SELECT id, 'lift' FROM machines",
		with("INSERT INTO positions (machine_id, circuit_id, name, walk_order, can_hurt)", 20,
			"SELECT m.id, c.id, 'P' || i, i, i = 7 FROM machines m JOIN circuits c ON c.machine_id = m.id CROSS JOIN n"),
		with("INSERT INTO readings (machine_id, on_day, hours, source)", 36,
			"SELECT m.id, "+day("700 + i * 30")+", 1000 + i * 120 + (i * m.id) % 40, 'page' FROM machines m CROSS JOIN n"),
		with("INSERT INTO conditions (level, owner_id, from_on, fluid_c, cycles, basis)", 3,
			"SELECT 'machine', m.id, "+day("300 * i + m.id % 100")+", 60 + i * 5, "+cycles+", 'assumed' FROM machines m CROSS JOIN n"),
		`INSERT INTO assemblies (site_id, code, designation, dn, dash, rated_bar, rating_source, max_c, tube, made, assembled)
			SELECT 1, 'H-' || id, 'EN 853 2SN', 12, 8, 275, 'printed', 100, 'NBR', '2021-10-01', '2021-12-01' FROM positions`,
		"INSERT INTO placements (assembly_id, position_id, from_on, from_hours) SELECT id, id, " + day("id % 900") + ", 1200 FROM positions",
		with("INSERT INTO inspections (assembly_id, position_id, on_day, verdict)", 2,
			"SELECT p.id, p.id, "+day("1000 + i * 300 + p.id % 60")+", 'sound' FROM positions p CROSS JOIN n"),
		`INSERT INTO estimates (assembly_id, stale, machine_id, site_id, machine_code, walk_order)
			SELECT q.id, TRUE, m.id, m.site_id, m.code, q.walk_order FROM positions q JOIN machines m ON m.id = q.machine_id`,
	} {
		if _, err := s.Raw().Exec(q); err != nil {
			tb.Fatalf("%s: %v", q, err)
		}
	}
	if s.Engine() == store.Postgres {
		if _, err := s.Raw().Exec("ANALYZE"); err != nil {
			tb.Fatal(err)
		}
	}
}
