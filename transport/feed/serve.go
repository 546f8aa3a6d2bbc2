package feed

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"
)

// Serve answers on the listener until ctx ends; then it closes the listener
// and all connections at once, streams too, and returns nil. It returns an
// error if the listener fails before that.
func (h *HTTP) Serve(ctx context.Context, listener net.Listener) error {
	server := &http.Server{
		Handler:           h,
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      10 * time.Second,
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
	}
	stop := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer stop()
	err := server.Serve(listener)
	if ctx.Err() != nil {
		return nil
	}
	_ = server.Close()
	return fmt.Errorf("http on %s stopped: %w", listener.Addr(), err)
}
