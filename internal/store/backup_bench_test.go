package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"hoseward/internal/backup"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// BenchmarkBackup writes a backup, reads it back and tries it by loading it,
// and holds the time against copying the same rows plainly: each read and
// written once through the same driver into another register. The heap must
// not grow with the register.
func BenchmarkBackup(b *testing.B) {
	n := max(*benchAssemblies, 1000) / 20 * 20
	s := open(b, filepath.Join(b.TempDir(), "bench.db"))
	crowd(b, s, n)
	if _, err := s.ReestimateAll(b.Context(), now, nil); err != nil {
		b.Fatal(err)
	}
	load := func(ctx context.Context, into string, info register.DumpInfo, src register.DumpSource) error {
		_, err := store.Load(ctx, into, info, src)
		return err
	}
	var whole, untried, plain time.Duration
	var peak, size, rows float64
	for i := 0; b.Loop(); i++ {
		path := filepath.Join(b.TempDir(), fmt.Sprintf("%d.zip", i))
		stop := watchHeap()
		start := time.Now()
		m, err := backup.Make(b.Context(), path, backup.Contents{Register: s, Made: now, Try: load})
		if err != nil {
			b.Fatal(err)
		}
		whole += time.Since(start)
		peak = max(peak, stop())
		start = time.Now()
		if _, err := backup.Make(b.Context(), path+"2", backup.Contents{Register: s, Made: now}); err != nil {
			b.Fatal(err)
		}
		untried += time.Since(start)
		start = time.Now()
		copyPlainly(b, s, m.Register)
		plain += time.Since(start)
		info, err := os.Stat(path)
		if err != nil {
			b.Fatal(err)
		}
		size, rows = float64(info.Size())/1e6, float64(m.Register.Rows())
	}
	b.ReportMetric(float64(whole)/float64(plain), "x-of-plain")
	b.ReportMetric(whole.Seconds()/float64(b.N), "s/backup")
	b.ReportMetric(untried.Seconds()/float64(b.N), "s-no-trial")
	b.ReportMetric(plain.Seconds()/float64(b.N), "s-plain")
	b.ReportMetric(peak, "MB-heap")
	b.ReportMetric(size, "MB-zip")
	b.ReportMetric(rows, "rows")
}

// watchHeap begins to watch the heap; stop says its peak in megabytes.
func watchHeap() (stop func() float64) {
	end, peak := make(chan struct{}), make(chan float64)
	go func() {
		most := uint64(0)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapInuse)
			select {
			case <-end:
				peak <- float64(most) / 1e6
				return
			case <-tick.C:
			}
		}
	}()
	return func() float64 { close(end); return <-peak }
}

// copyPlainly puts the rows of a register into another, without a dump.
func copyPlainly(b *testing.B, from *store.Store, info register.DumpInfo) {
	b.Helper()
	to := open(b, filepath.Join(b.TempDir(), "plain.db"))
	withoutTriggers(b, to)
	tx, err := to.Raw().Begin()
	if err != nil {
		b.Fatal(err)
	}
	defer tx.Rollback() // does nothing after a commit
	for _, t := range info.Tables {
		if _, err := tx.Exec(`DELETE FROM "` + t.Name + `"`); err != nil && t.Name != "changes" {
			continue // others refer to what comes with the program
		}
		copyTable(b, from, tx, t)
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
}

// withoutTriggers takes all triggers away, as loading a dump does.
func withoutTriggers(b *testing.B, s *store.Store) {
	b.Helper()
	var names sql.NullString
	err := s.Raw().QueryRow("SELECT group_concat(name) FROM sqlite_master WHERE type = 'trigger'").Scan(&names)
	if err != nil {
		b.Fatal(err)
	}
	for name := range strings.SplitSeq(names.String, ",") {
		if _, err := s.Raw().Exec("DROP TRIGGER " + name); err != nil {
			b.Fatal(err)
		}
	}
}

func copyTable(b *testing.B, from *store.Store, to *sql.Tx, t register.DumpTable) {
	b.Helper()
	rows, err := from.Raw().Query("SELECT " + quoted(t.Columns) + ` FROM "` + t.Name + `"`)
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	most := max(200/len(t.Columns), 1) // rows in a statement, as when a dump is loaded
	one := "(" + strings.TrimSuffix(strings.Repeat("?, ", len(t.Columns)), ", ") + ")"
	insert := `INSERT OR IGNORE INTO "` + t.Name + `" (` + quoted(t.Columns) + ") VALUES "
	put, err := to.Prepare(insert + one + strings.Repeat(", "+one, most-1))
	if err != nil {
		b.Fatal(err)
	}
	defer put.Close()
	values, dest := make([]any, len(t.Columns)), make([]any, len(t.Columns))
	for i := range values {
		dest[i] = &values[i]
	}
	var full []any
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			b.Fatal(err)
		}
		if full = append(full, values...); len(full) < most*len(values) {
			continue
		}
		if _, err := put.Exec(full...); err != nil {
			b.Fatal(err)
		}
		full = full[:0]
	}
	if err := rows.Err(); err != nil {
		b.Fatal(err)
	}
	if n := len(full) / len(values); n > 0 {
		if _, err := to.Exec(insert+one+strings.Repeat(", "+one, n-1), full...); err != nil {
			b.Fatal(err)
		}
	}
}
