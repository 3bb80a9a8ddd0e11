package main

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"hoseward/internal/config"
)

// lookAgain is how often the files of the certificate are looked at for
// having changed.
const lookAgain = 10 * time.Second

// certificates gives the certificate of its files, read anew when they
// change: renewing one needs no restart. While what is there cannot be used,
// the one before is kept and the log says why.
type certificates struct {
	files config.TLSFiles
	now   func() time.Time
	log   *slog.Logger

	mu      sync.Mutex
	current *tls.Certificate
	stamp   string    // of the files current was read from
	looked  time.Time // when the stamp was last compared
}

// openCertificates reads the certificate; one that cannot be used is an error.
func openCertificates(files config.TLSFiles, now func() time.Time, log *slog.Logger) (*certificates, error) {
	c := &certificates{files: files, now: now, log: log, looked: now()}
	if err := c.read(); err != nil {
		return nil, err
	}
	return c, nil
}

// config is how connections are made secure: TLS 1.2 or later, the rest as Go
// chooses it.
func (c *certificates) config() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.get(), nil }}
}

// get is the certificate, read anew if its files changed.
func (c *certificates) get() *tls.Certificate {
	c.mu.Lock()
	defer c.mu.Unlock()
	if now := c.now(); now.Sub(c.looked) >= lookAgain || now.Before(c.looked) {
		c.looked = now
		if c.stampNow() != c.stamp {
			c.renew()
		}
	}
	return c.current
}

// reload reads the files now, changed or not.
func (c *certificates) reload() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.renew()
}

func (c *certificates) renew() {
	if err := c.read(); err != nil {
		c.log.Error("the new certificate cannot be used; the old one stays", "err", err)
		return
	}
	c.log.Info("the certificate was read anew", "until", c.current.Leaf.NotAfter)
}

func (c *certificates) read() error {
	stamp := c.stampNow() // before the reading: what changes meanwhile is seen next time
	pair, err := tls.LoadX509KeyPair(c.files.Cert, c.files.Key)
	if err != nil {
		return fmt.Errorf("read the certificate %s with the key %s: %w", c.files.Cert, c.files.Key, err)
	}
	c.current, c.stamp = &pair, stamp
	if left := pair.Leaf.NotAfter.Sub(c.now()); left < 0 {
		c.log.Warn("the certificate has run out; browsers will refuse it", "until", pair.Leaf.NotAfter)
	}
	return nil
}

// stampNow tells one state of the files from another.
func (c *certificates) stampNow() string {
	stamp := ""
	for _, path := range []string{c.files.Cert, c.files.Key} {
		info, err := os.Stat(path)
		if err != nil {
			stamp += "none;"
			continue
		}
		stamp += fmt.Sprintf("%d %d;", info.ModTime().UnixNano(), info.Size())
	}
	return stamp
}
