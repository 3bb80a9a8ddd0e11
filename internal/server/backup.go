package server

import (
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// backupsLate is how old the last good backup may be before Today says so: a
// choice of ours, two missed nights.
const backupsLate = 48 * time.Hour

// backupState is what pages say of backups.
type backupState struct {
	Wanted bool       // the settings name a folder for them
	Last   *time.Time // when the last good one was begun; nil if there is none
	Late   bool
}

// backups is when the last good backup was made.
func (s *Server) backups(c echo.Context) (backupState, error) {
	state := backupState{Wanted: s.cfg.Backups}
	if !state.Wanted {
		return state, nil
	}
	run, err := s.store(c).LastGood(c.Request().Context(), register.BackUpJob)
	if err != nil {
		return state, wrap("find the last good backup", err)
	}
	state.Late = true
	if run != nil {
		state.Last, state.Late = &run.Started, s.deps.Now().Sub(run.Started) > backupsLate
	}
	return state, nil
}
