package main

import (
	"context"
	"log/slog"
	"net"
	"time"

	"hoseward/internal/server"
)

// ServeWith serves until ctx ends and then gives what was begun that long to
// end.
func ServeWith(ctx context.Context, srv *server.Server, l net.Listener, finish time.Duration) error {
	return (&webService{srv: srv, listener: l, finish: finish, log: slog.New(slog.DiscardHandler)}).serve(ctx)
}
