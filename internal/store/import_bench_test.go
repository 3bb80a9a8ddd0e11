package store_test

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// manyHoses is a list of n hoses, twenty to a machine.
func manyHoses(n int) string {
	var b strings.Builder
	b.WriteString("Machine;Position;Assembly;Type;DN;Rating (bar);Length (mm);Made;Fitted\n")
	for i := range n {
		fmt.Fprintf(&b, "M-%05d;P%02d;H-%d;EN 853 2SN;12;275;1250;2Q24;2024-07-02\n", i/20, i%20, i)
	}
	return b.String()
}

var benchRows = flag.Int("rows", promised, "how many rows BenchmarkImport imports")

// BenchmarkImport compares an import of hoses with the plain writing of the
// same rows, change log and texts for search included, through the same driver
// in one transaction. The promise is a ratio of at most 4.
func BenchmarkImport(b *testing.B) {
	n := *benchRows
	list := manyHoses(n)
	for b.Loop() {
		s := open(b, address(b, store.SQLite))
		start := time.Now()
		r := mustImport(b, s, list, store.ImportOptions{})
		took := time.Since(start)
		if r.Added != n {
			b.Fatal(lines(r))
		}
		plain := writeAgain(b, s)
		b.ReportMetric(took.Seconds()/float64(n)*1e6, "µs/row")
		b.ReportMetric(plain.Seconds()/float64(n)*1e6, "plain-µs/row")
		b.ReportMetric(took.Seconds()/plain.Seconds(), "ratio")
	}
}

// writeAgain copies the rows an import wrote into another register, row by
// row, each with a statement that was made ready once.
func writeAgain(b *testing.B, s *store.Store) time.Duration {
	b.Helper()
	to := open(b, address(b, store.SQLite))
	type row struct {
		query string
		args  []any
	}
	var all []row
	for _, table := range []string{
		"imports", "sites", "machines", "positions", "assemblies", "assembly_codes", "placements", "estimates", "acts", "changes",
		"find_assemblies", "find_machines", "find_positions",
	} {
		columns := "*"
		if strings.HasPrefix(table, "find_") {
			columns = "rowid, text"
		}
		rows, err := s.Raw().Query("SELECT " + columns + " FROM " + table)
		if err != nil {
			b.Fatal(err)
		}
		cols, err := rows.Columns()
		if err != nil {
			b.Fatal(err)
		}
		q := fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s)", table, quoted(cols), strings.Repeat(", ?", len(cols)-1))
		for rows.Next() {
			vals, ptrs := make([]any, len(cols)), make([]any, len(cols))
			for i := range vals {
				ptrs[i] = &vals[i]
			}
			if err := rows.Scan(ptrs...); err != nil {
				b.Fatal(err)
			}
			all = append(all, row{q, vals})
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			b.Fatal(err)
		}
	}
	start := time.Now()
	tx, err := to.Raw().Begin()
	if err != nil {
		b.Fatal(err)
	}
	ready := map[string]*sql.Stmt{}
	for _, r := range all {
		st := ready[r.query]
		if st == nil {
			if st, err = tx.Prepare(r.query); err != nil {
				b.Fatal(err)
			}
			ready[r.query] = st
		}
		if _, err := st.Exec(r.args...); err != nil {
			b.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
}

// measured is a source that looks at the memory in use now and then.
type measured struct {
	*exchange.Sheet
	n    int
	peak uint64
}

func (m *measured) Next() (register.ImportRow, error) {
	row, err := m.Sheet.Next()
	if m.n++; m.n%1000 == 0 || errors.Is(err, io.EOF) {
		var stats runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&stats)
		m.peak = max(m.peak, stats.HeapAlloc)
	}
	return row, err
}

func TestImport_MemoryStaysFlatAsFilesGrow(t *testing.T) {
	few, many := importPeak(t, 4000), importPeak(t, 16000)
	t.Logf("at most %d KB in use with 4 000 rows, %d KB with 16 000", few>>10, many>>10)
	if many > few+8<<20 {
		t.Errorf("memory grows with the file: %d KB, then %d KB", few>>10, many>>10)
	}
}

// BenchmarkImport_Memory says how the most heap in use grows from a file to
// one four times as long.
func BenchmarkImport_Memory(b *testing.B) {
	for b.Loop() {
		few, many := importPeak(b, 4000), importPeak(b, 16000)
		b.ReportMetric(float64(few>>10), "KB-4000-rows")
		b.ReportMetric(float64(many>>10), "KB-16000-rows")
		b.ReportMetric(float64(many)/float64(few), "x-of-few")
	}
}

// importPeak is the most heap in use while n hoses are taken, without the list
// itself.
func importPeak(t testing.TB, n int) uint64 {
	t.Helper()
	s := open(t, address(t, store.SQLite))
	list := manyHoses(n)
	src := &measured{Sheet: openSheet(t, list)}
	r, err := s.Import(context.Background(), now, me, src, store.ImportOptions{Kind: register.ImportHoses})
	if err != nil || r.Added != n {
		t.Fatalf("%v\n%.500s", err, lines(r))
	}
	return src.peak - uint64(len(list))
}
