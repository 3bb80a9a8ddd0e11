package store

import (
	"bufio"
	"context"
	"fmt"
	"strings"

	"hoseward/internal/register"
)

// Dump writes every table row by row, as the register stands at one instant,
// whatever its schema is. The text is the same from both engines for the same
// rows: columns by name, rows by primary key. What leftOut names is not in it.
func (s *Store) Dump(ctx context.Context, sink register.DumpSink) (info register.DumpInfo, err error) {
	err = s.snapshot(ctx, func(c conn) error {
		if info, err = describe(ctx, c); err != nil {
			return err
		}
		tables, err := catalog(ctx, c)
		if err != nil {
			return err
		}
		for _, t := range tables {
			entry, err := dumpTable(ctx, c, t, sink)
			if err != nil {
				return fmt.Errorf("dump table %s: %w", t.name, err)
			}
			info.Tables = append(info.Tables, entry)
		}
		return nil
	})
	return info, err
}

// Describe is what Dump says of a register, without its tables.
func (s *Store) Describe(ctx context.Context) (register.DumpInfo, error) {
	return describe(ctx, s.reader())
}

// describe reads the schema's version and the head of the change log.
func describe(ctx context.Context, c conn) (register.DumpInfo, error) {
	info := register.DumpInfo{Engine: c.e.name}
	var err error
	if info.Schema, err = schemaOf(ctx, c); err != nil {
		return info, err
	}
	if info.Schema == 0 {
		return info, ErrNoRegister
	}
	if err := c.row(ctx, "SELECT seq, hash FROM chain_head WHERE id = 1").Scan(&info.Seq, &info.Hash); err != nil {
		return info, fmt.Errorf("read the head of the change log: %w", translate(err))
	}
	return info, nil
}

// schemaOf is the number of the last migration, 0 where there is no register.
func schemaOf(ctx context.Context, c conn) (int64, error) {
	there, err := hasTable(ctx, c, "goose_db_version")
	if err != nil || !there {
		return 0, err
	}
	var version int64
	// A migration that was taken back leaves no row.
	if err := c.row(ctx, "SELECT COALESCE(MAX(version_id), 0) FROM goose_db_version").Scan(&version); err != nil {
		return 0, fmt.Errorf("read the version of the register's schema: %w", translate(err))
	}
	return version, nil
}

func hasTable(ctx context.Context, c conn, name string) (there bool, err error) {
	query := "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?)"
	if c.e.name == Postgres {
		query = "SELECT to_regclass(?) IS NOT NULL"
	}
	if err := c.row(ctx, query, name).Scan(&there); err != nil {
		return false, fmt.Errorf("look for table %s: %w", name, translate(err))
	}
	return there, nil
}

// dumpTable writes the rows of a table in the order of its key.
func dumpTable(ctx context.Context, c conn, t *catalogTable, sink register.DumpSink) (entry register.DumpTable, err error) {
	entry = register.DumpTable{Name: t.name, Columns: t.names()}
	to, err := sink.Table(t.name)
	if err != nil {
		return entry, err
	}
	rows, err := c.query(ctx, "SELECT "+quotedList(entry.Columns)+" FROM "+quotedName(t.name)+" ORDER BY "+orderOf(c.e, t))
	if err != nil {
		return entry, translate(err)
	}
	defer rows.Close()
	w := bufio.NewWriterSize(to, 64<<10)
	values, dest := make([]any, len(t.columns)), make([]any, len(t.columns))
	for i := range values {
		dest[i] = &values[i]
	}
	var line []byte
	for ; rows.Next(); entry.Rows++ {
		if err := rows.Scan(dest...); err != nil {
			return entry, err
		}
		if line, err = appendRow(line[:0], t, values); err != nil {
			return entry, fmt.Errorf("row %d: %w", entry.Rows+1, err)
		}
		if _, err := w.Write(line); err != nil {
			return entry, err
		}
	}
	if err := rows.Err(); err != nil {
		return entry, translate(err)
	}
	if err := w.Flush(); err != nil {
		return entry, err
	}
	entry.LastID, err = lastID(ctx, c, t)
	return entry, err
}

func appendRow(line []byte, t *catalogTable, values []any) ([]byte, error) {
	line = append(line, '[')
	for i, v := range values {
		if i > 0 {
			line = append(line, ',')
		}
		var err error
		if line, err = appendValue(line, t.columns[i].kind, v); err != nil {
			return nil, fmt.Errorf("column %s: %w", t.columns[i].name, err)
		}
	}
	return append(line, ']', '\n'), nil
}

// orderOf sorts rows the same on both engines.
func orderOf(e *engine, t *catalogTable) string {
	key := t.key
	if len(key) == 0 {
		key = t.names()
	}
	var by []string
	for _, name := range key {
		one := quotedName(name)
		for _, c := range t.columns {
			if c.name == name && c.kind == ofText && e.name == Postgres {
				one += ` COLLATE "C"`
			}
		}
		if len(t.key) == 0 {
			one += " NULLS FIRST"
		}
		by = append(by, one)
	}
	return strings.Join(by, ", ")
}

// lastID is the highest id a table has ever given out.
func lastID(ctx context.Context, c conn, t *catalogTable) (id int64, err error) {
	if t.counted == "" {
		return 0, nil
	}
	if c.e.name == SQLite {
		err = c.row(ctx, "SELECT COALESCE(MAX(seq), 0) FROM sqlite_sequence WHERE name = ?", t.name).Scan(&id)
	} else {
		var name string
		err = c.row(ctx, "SELECT pg_get_serial_sequence(?, ?)", quotedName(t.name), t.counted).Scan(&name)
		if err == nil {
			err = c.row(ctx, "SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM "+name).Scan(&id)
		}
	}
	if err != nil {
		return 0, fmt.Errorf("read the last id of table %s: %w", t.name, translate(err))
	}
	return id, nil
}

func quotedName(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

func quotedList(names []string) string {
	var all []string
	for _, n := range names {
		all = append(all, quotedName(n))
	}
	return strings.Join(all, ", ")
}
