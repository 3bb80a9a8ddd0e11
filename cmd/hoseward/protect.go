package main

import (
	"fmt"
	"log/slog"
	"net/url"
	"time"

	"hoseward/internal/config"
)

// protected is what keeps what is sent from being read on its way.
type protected struct {
	scheme string        // of what is listened on
	certs  *certificates // nil: without TLS
	public *url.URL      // the base of addresses people use, nil for the listen address
	clear  bool          // other machines are served in the clear
	notice time.Duration // how long to tell that the program is about to stop
}

// protection is what the settings say of it, at the address really listened
// on. What is risky is said aloud.
func protection(addr string, m *Main, s config.Settings, log *slog.Logger) (protected, error) {
	p := protected{scheme: "http", public: s.PublicURL}
	if len(s.Proxies) > 0 {
		p.notice = noticeWithin
	}
	if s.TLS.On() {
		var err error
		if p.certs, err = openCertificates(s.TLS, m.Now, log); err != nil {
			return p, err
		}
		p.scheme = "https"
		if p.public == nil {
			p.public = &url.URL{Scheme: "https", Host: addr}
		}
		return p, nil
	}
	https := p.public != nil && p.public.Scheme == "https"
	if p.clear = s.Insecure && !https && (!s.Loopback() || p.public != nil); p.clear {
		fmt.Fprintln(m.Stderr, "WARNING: --insecure-http: whoever is on the network can read passwords and change what is sent. Give --tls-cert and --tls-key, or let a proxy do TLS.")
		log.Warn("serving other machines without TLS")
	}
	if https && len(s.Proxies) == 0 {
		log.Warn("the public URL is https, but there is neither a certificate nor a trusted proxy: if a proxy stands before the program, name it with --trusted-proxies, else all who come through it count as one address")
	}
	return p, nil
}
