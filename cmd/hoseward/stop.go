package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"syscall"
	"time"

	"hoseward/internal/server"
)

// How the service stops: for noticeWithin it answers and says that it is not
// ready, so that proxies send no more; for finishWithin it takes no connections
// and ends what was begun; what is not done then is cut off, which takes back
// what it changed, and has cutWithin to do so.
const (
	noticeWithin = 2 * time.Second
	finishWithin = 20 * time.Second
	cutWithin    = 5 * time.Second
)

// webService is what serves people.
type webService struct {
	srv      *server.Server
	listener net.Listener
	certs    *certificates // nil: without TLS
	notice   time.Duration // at most noticeWithin
	finish   time.Duration // at most finishWithin
	log      *slog.Logger
}

// serve answers requests until ctx ends, then stops as said above.
func (w *webService) serve(ctx context.Context) error {
	h := w.srv.HTTP()
	failed := make(chan error, 1)
	go func() {
		if w.certs == nil {
			failed <- h.Serve(w.listener)
			return
		}
		h.TLSConfig = w.certs.config()
		failed <- h.ServeTLS(w.listener, "", "")
	}()
	select {
	case err := <-failed:
		return fmt.Errorf("serve on %s: %w", w.listener.Addr(), err)
	case <-ctx.Done():
	}
	w.log.Info("stopping: what was begun is ended")
	w.srv.Stopping()
	notice := time.NewTimer(w.notice)
	defer notice.Stop()
	select {
	case err := <-failed:
		return fmt.Errorf("serve on %s: %w", w.listener.Addr(), err)
	case <-notice.C:
	}
	w.shutDown(context.WithoutCancel(ctx), h)
	if err := <-failed; !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("stop serving: %w", err)
	}
	return nil
}

// shutDown ends what was begun, by force where it takes too long.
func (w *webService) shutDown(ctx context.Context, h *http.Server) {
	end, cancel := context.WithTimeout(ctx, w.finish)
	defer cancel()
	if err := h.Shutdown(end); err == nil {
		return
	}
	w.log.Warn("requests that took too long are cut off; what they changed is taken back")
	_ = h.Close() // its listener is closed already
	cut, cancelCut := context.WithTimeout(ctx, cutWithin)
	defer cancelCut()
	if err := w.srv.Idle(cut); err != nil {
		w.log.Warn("requests that were cut off have not ended", "err", err)
	}
}

// reloadOnHangUp reads the certificate anew whenever the program gets SIGHUP,
// which would end it otherwise. end stops that.
func (w *webService) reloadOnHangUp() (end func()) {
	hangUp, done := make(chan os.Signal, 1), make(chan struct{})
	signal.Notify(hangUp, syscall.SIGHUP)
	go func() {
		for {
			select {
			case <-hangUp:
				if w.certs != nil {
					w.certs.reload()
				}
			case <-done:
				return
			}
		}
	}()
	return func() {
		signal.Stop(hangUp)
		close(done)
	}
}
