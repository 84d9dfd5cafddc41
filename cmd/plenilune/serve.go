package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"time"
)

// errServed says that a server was told to stop, which is how it ends.
var errServed = errors.New("stopped serving")

// place is where a server listens.
type place struct {
	listen string // an address of this machine; "" is loopback
	port   int    // 0: any that is free
}

// open begins to listen. Other addresses than loopback must be asked for: whoever reaches them sees what is served.
func (p place) open() (net.Listener, error) {
	host := p.listen
	if host == "" {
		host = "127.0.0.1"
	}
	if _, err := netip.ParseAddr(host); err != nil {
		return nil, requestf("--listen %s: want an address of this machine, as 192.168.1.20, or 0.0.0.0 for all", host)
	}
	l, err := net.Listen("tcp", net.JoinHostPort(host, strconv.Itoa(p.port)))
	if err != nil {
		return nil, requestf("listen on %s: %v", net.JoinHostPort(host, strconv.Itoa(p.port)), err)
	}
	return l, nil
}

// serve answers requests until ctx ends, then lets those under way come to their end, for a second.
func serve(ctx context.Context, l net.Listener, h http.Handler) error {
	s := &http.Server{Handler: guarded(h, l.Addr()), ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 1 << 14}
	failed := make(chan error, 1)
	go func() { failed <- s.Serve(l) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if err := s.Shutdown(last); err != nil {
		s.Close()
	}
	<-failed
	return errServed
}

// security are headers of every answer: a page may load what stands beside it, and nothing else.
var security = [][2]string{
	{"Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
	{"X-Content-Type-Options", "nosniff"},
	{"Referrer-Policy", "no-referrer"},
	{"Cross-Origin-Opener-Policy", "same-origin"},
	{"Cross-Origin-Resource-Policy", "same-origin"},
	{"Cache-Control", "no-cache"},
}

// guarded refuses what is not a plain reading by the server's own name.
func guarded(h http.Handler, at net.Addr) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, s := range security {
			w.Header().Set(s[0], s[1])
		}
		switch {
		case !ownHost(r.Host, at):
			http.Error(w, "this server goes by its address alone", http.StatusForbidden)
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "nothing can be changed here", http.StatusMethodNotAllowed)
		default:
			h.ServeHTTP(w, r)
		}
	})
}

// ownHost tells whether a request was meant for this server: a strange web site may let its own name lead here, so that a
// browser reads for it what only this machine should see.
func ownHost(host string, at net.Addr) bool {
	bound, err := netip.ParseAddrPort(at.String())
	if err != nil {
		return false
	}
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		name, port = strings.Trim(host, "[]"), "80"
	}
	if port != strconv.Itoa(int(bound.Port())) {
		return false
	}
	if strings.EqualFold(name, "localhost") {
		return bound.Addr().IsLoopback() || bound.Addr().IsUnspecified()
	}
	addr, err := netip.ParseAddr(name)
	return err == nil && (bound.Addr().IsUnspecified() || addr == bound.Addr())
}
