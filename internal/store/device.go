package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// devicesKept bounds the devices of one person.
const devicesKept = 20

func (t *tx) enrolDevice(c register.EnrolDevice) error {
	switch {
	case t.by.ByPIN:
		return refuse(register.Forbidden, "", "This needs your password; sign in with it, then do it again.")
	case !c.EndsAt.After(t.now) || c.EndsAt.Sub(t.now) > register.DeviceLasts:
		return refuse(register.Invalid, "ends", "A PIN can count for at most %d days.", int(register.DeviceLasts.Hours()/24))
	}
	if err := t.lockPeople(); err != nil {
		return err
	}
	held, err := credentials.one(t.ctx, t.conn, "person_id = ?"+t.e.forUpdate, t.by.PersonID)
	switch {
	case err != nil:
		return err
	case held == nil || held.PasswordHash == "":
		return refuse(register.Refused, "", "A PIN goes with a password; choose a password first.")
	case c.Generation != 0 && c.Generation != held.Generation:
		return signedOutMeanwhile()
	}
	if err := t.dropEnded(); err != nil {
		return err
	}
	have, err := devices.where(t.ctx, t.conn, "person_id = ?", t.by.PersonID)
	switch {
	case err != nil:
		return err
	case len(have) >= devicesKept:
		return refuse(register.Refused, "", "You have a PIN on %d devices already; end one first.", devicesKept)
	}
	row := &register.Device{PersonID: t.by.PersonID, Name: c.Name, Hash: c.Hash, PINHash: c.PINHash, MadeAt: t.now, ExpiresAt: c.EndsAt.UTC()}
	return insert(t, devices, row, &row.ID, nil)
}

// dropEnded clears away the devices of who asks that count no more.
func (t *tx) dropEnded() error {
	ended, err := devices.where(t.ctx, t.conn, "person_id = ? AND expires_at <= ?", t.by.PersonID, t.now)
	if err != nil {
		return err
	}
	for i := range ended {
		if err := t.dropDevice(&ended[i]); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) endDevice(c register.EndDevice) error {
	row, err := devices.one(t.ctx, t.conn, "id = ? AND person_id = ?", c.ID, t.by.PersonID)
	switch {
	case err != nil:
		return err
	case row == nil:
		return refuse(register.NotFound, "", "This device has no PIN of yours any more.")
	}
	return t.dropDevice(row)
}

// dropDevice ends a device, unless somebody did meanwhile.
func (t *tx) dropDevice(row *register.Device) error {
	gone, err := t.exec(t.ctx, "DELETE FROM devices WHERE id = ?", row.ID)
	if err != nil {
		return fmt.Errorf("end device %d: %w", row.ID, err)
	}
	if n, err := gone.RowsAffected(); err != nil || n == 0 {
		return err
	}
	return t.note(devices.name, row.ID, register.Deleted, row, nil)
}

// Devices are those on which a person signs in with a PIN, newest first.
func (s *Store) Devices(ctx context.Context, personID int64, now time.Time) ([]register.Device, error) {
	return devices.where(ctx, s.reader(), "person_id = ? AND expires_at > ? ORDER BY id DESC", personID, now.UTC())
}

// Device is the device of a secret, by its hash, with its person; nil if it
// counts no more or its person cannot sign in.
func (s *Store) Device(ctx context.Context, hash string, now time.Time) (*register.Device, *register.SignedIn, error) {
	row, err := devices.one(ctx, s.reader(), "hash = ? AND expires_at > ?", hash, now.UTC())
	if err != nil || row == nil {
		return nil, nil, err
	}
	who, err := s.SignedIn(ctx, row.PersonID)
	if err != nil || len(who.Roles) == 0 {
		return nil, nil, err
	}
	return row, &who, nil
}

// TryPIN counts a try to give a PIN before it is looked at, and returns what it
// is held to; "" where the device counts no more. The last try that is allowed
// ends the device unless PINGiven follows it.
func (s *Store) TryPIN(ctx context.Context, deviceID int64, now time.Time) (pinHash string, err error) {
	err = s.inTx(ctx, func(c conn) error {
		pinHash = ""
		r := c.row(ctx, `UPDATE devices SET tries = tries + 1 WHERE id = ? AND tries < ? AND expires_at > ? RETURNING pin_hash`,
			deviceID, register.MaxPINTries, now.UTC())
		if err := r.Scan(&pinHash); err != nil && !notFound(err) {
			return fmt.Errorf("count a try of a PIN: %w", translate(err))
		}
		return nil
	})
	return pinHash, err
}

// PINGiven notes that the right PIN was given on a device.
func (s *Store) PINGiven(ctx context.Context, deviceID int64, now time.Time) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "UPDATE devices SET tries = 0, used_at = ? WHERE id = ?", now.UTC(), deviceID); err != nil {
			return fmt.Errorf("note the use of device %d: %w", deviceID, err)
		}
		return nil
	})
}

// PINWrong notes that a wrong PIN was given, and ends a device on which that
// happened too often. It says how many tries are left.
func (s *Store) PINWrong(ctx context.Context, now time.Time, deviceID int64) (left int, err error) {
	_, err = s.change(ctx, now, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage, Reason: "too many wrong PINs"}, func(t *tx) error {
		left = 0
		row, err := devices.one(t.ctx, t.conn, "id = ?", deviceID)
		if err != nil || row == nil {
			return err
		}
		if left = max(0, register.MaxPINTries-row.Tries); left > 0 {
			return nil
		}
		t.title, t.need = "PIN ended after wrong tries", register.RightOwn
		return t.dropDevice(row)
	})
	return left, err
}

// KeepDevice lets a PIN count until a later time, as its person gave their
// password on the device.
func (s *Store) KeepDevice(ctx context.Context, deviceID int64, until time.Time) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "UPDATE devices SET expires_at = ?, tries = 0 WHERE id = ?", until.UTC(), deviceID); err != nil {
			return fmt.Errorf("keep device %d: %w", deviceID, err)
		}
		return nil
	})
}

// DeviceCounts reports whether a device is still one of a person's.
func (s *Store) DeviceCounts(ctx context.Context, id, personID int64, now time.Time) (bool, error) {
	row, err := devices.one(ctx, s.reader(), "id = ? AND person_id = ? AND expires_at > ?", id, personID, now.UTC())
	return row != nil, err
}
