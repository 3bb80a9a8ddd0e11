package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// On PostgreSQL two people write at once. What one of them waits for is looked
// at anew once the other is done: nothing is decided by what was read before.
func TestApply_DecidesByWhatHoldsAfterWaiting(t *testing.T) {
	for _, c := range []struct {
		name  string
		other string // what the other one does, in SQL
		cmd   register.Command
		want  register.Code
	}{
		{
			"a hose is not fitted on a machine that just left the fleet",
			"UPDATE machines SET gone_on = '2026-11-01', version = version + 1 WHERE code = 'RT-01'",
			anyhow(fit("H-D", "lift left", "2026-11-20")), register.Refused,
		},
		{
			"a machine that just left the fleet is not read any more",
			"UPDATE machines SET gone_on = '2026-11-01', version = version + 1 WHERE code = 'RT-01'",
			register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 10},
			register.Refused,
		},
		{
			"a hose that was just thrown away is not fitted",
			"UPDATE assemblies SET scrapped_on = '2026-11-01', version = version + 1 WHERE code = 'H-D'",
			anyhow(fit("H-D", "lift left", "2026-11-20")), register.Refused,
		},
		{
			"a hose that was just fitted is not thrown away",
			`WITH held AS (SELECT id FROM assemblies WHERE code = 'H-D' FOR UPDATE)
				INSERT INTO placements (assembly_id, position_id, from_on, version)
				SELECT held.id, (SELECT MIN(id) FROM positions WHERE name = 'lift left'), '2026-11-20', 1 FROM held`,
			register.Scrap{AssemblyCode: "H-D", On: day("2026-11-24"), Reason: "worn"},
			register.Refused,
		},
		{
			"a hose that was just fitted is not made later than that",
			`WITH held AS (UPDATE assemblies SET version = version + 1 WHERE code = 'H-D' RETURNING id)
				SELECT id FROM held`,
			register.ChangeAssembly{Assembly: register.Assembly{ID: 1, Code: "H-D", Version: 1}},
			register.Conflict,
		},
		{
			"a reading that was just corrected is not taken back unseen",
			"WITH held AS (SELECT id FROM machines FOR UPDATE) UPDATE readings SET note = 'seen', version = version + 1 WHERE machine_id IN (SELECT id FROM held)",
			register.TakeBack{What: register.ThingReading, ID: 1, Version: 1, Reason: "typed on the wrong machine"},
			register.Conflict,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			ctx, stop := context.WithTimeout(context.Background(), 20*time.Second)
			defer stop()
			s := open(t, address(t, store.Postgres))
			apply(t, s, depot()...)
			apply(t, s, hose("H-D"), register.AddReading{Machine: "RT-01", On: day("2026-05-01"), Hours: 5})
			tx, err := s.Raw().BeginTx(ctx, nil)
			if err != nil {
				t.Fatal(err)
			}
			defer tx.Rollback()
			if _, err := tx.ExecContext(ctx, c.other); err != nil {
				t.Fatal(err)
			}
			done := make(chan error, 1)
			go func() {
				_, err := s.Apply(ctx, now, me, c.cmd)
				done <- err
			}()
			for waiting := 0; waiting == 0; {
				if err := s.Raw().QueryRowContext(ctx, "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'").Scan(&waiting); err != nil {
					t.Fatal(err)
				}
				select {
				case err := <-done:
					t.Fatalf("did not wait: %v", err)
				default:
				}
			}
			if err := tx.Commit(); err != nil {
				t.Fatal(err)
			}
			if err := <-done; !errors.Is(err, &register.Error{Code: c.want}) {
				t.Errorf("%v, want a refusal %v", err, c.want)
			}
		})
	}
}
