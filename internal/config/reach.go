package config

import (
	"net"
	"net/netip"
	"slices"
	"strconv"
	"strings"
)

// TLSFiles are the PEM files of a certificate with those above it, and of its
// private key.
type TLSFiles struct{ Cert, Key string }

// On reports whether there are such files.
func (f TLSFiles) On() bool { return f != TLSFiles{} }

// Loopback reports whether only this computer reaches the listen address.
func (s Settings) Loopback() bool {
	host, _, err := net.SplitHostPort(s.Listen)
	return err == nil && isLoopback(host)
}

func isLoopback(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.Unmap().IsLoopback()
}

// checkListen takes an address in numbers: what a name resolves to may change
// from one start to the next, and with it who can reach the port.
func checkListen(v string) (string, error) {
	host, port, err := net.SplitHostPort(v)
	if err != nil {
		return "", wrong("listen", "%q is no address with a port; write it as 127.0.0.1:8460", v)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return "", wrong("listen", "%q is no port; give a number from 0 to 65535, 0 for any free one", port)
	}
	if host == "" { // every address, as the system sees it
		return net.JoinHostPort("::", port), nil
	}
	if addr, err := netip.ParseAddr(host); host != "localhost" && (err != nil || addr.Zone() != "") {
		return "", wrong("listen", "%q is no address in numbers; write it as 192.168.1.5:%s, or as localhost:%s", host, port, port)
	}
	return v, nil
}

func checkTLS(cert, key string) (TLSFiles, error) {
	switch {
	case strings.ContainsRune(cert+key, 0):
		return TLSFiles{}, wrong("tls-cert", "holds a zero byte; give the path of a PEM file")
	case cert != "" && key == "":
		return TLSFiles{}, wrong("tls-key", "is missing beside --tls-cert; give the PEM file of the certificate's private key too")
	case cert == "" && key != "":
		return TLSFiles{}, wrong("tls-cert", "is missing beside --tls-key; give the PEM file of the certificate too")
	}
	return TLSFiles{cert, key}, nil
}

// checkProxies reads addresses and networks with commas between them.
func checkProxies(v string) ([]netip.Prefix, error) {
	var all []netip.Prefix
	if strings.TrimSpace(v) == "" {
		return nil, nil
	}
	for part := range strings.SplitSeq(v, ",") {
		part = strings.TrimSpace(part)
		network, err := netip.ParsePrefix(part)
		if addr, addrErr := netip.ParseAddr(part); addrErr == nil && addr.Zone() == "" {
			addr = addr.Unmap()
			network, err = netip.PrefixFrom(addr, addr.BitLen()), nil
		}
		switch {
		case err != nil:
			return nil, wrong("trusted-proxies", "%q is neither an address nor a network; write them as 10.0.0.7,192.168.1.0/24", part)
		case network.Addr().Is4In6():
			return nil, wrong("trusted-proxies", "%q is an IPv4 network written as IPv6; write it as 192.168.1.0/24", part)
		case network.Bits() == 0:
			return nil, wrong("trusted-proxies", "%q is every address there is, so anybody could claim to be anybody; give the addresses of the proxies only", part)
		}
		if network = network.Masked(); !slices.Contains(all, network) {
			all = append(all, network)
		}
	}
	return all, nil
}

// checkReach holds together who can reach the program and what protects
// passwords on their way.
func (s Settings) checkReach() error {
	https := s.PublicURL != nil && s.PublicURL.Scheme == "https"
	host, _, _ := net.SplitHostPort(s.Listen)
	addr, _ := netip.ParseAddr(host)
	switch {
	case !isLoopback(host) && addr.IsUnspecified() && s.PublicURL == nil:
		return wrong("public-url", "is missing: %s is every address of this computer, so the program cannot know by which name people reach it; write it as https://hoses.example.org", s.Listen)
	case s.TLS.On() && s.PublicURL != nil && !https:
		return wrong("public-url", "begins with http:// although there is a certificate; write it as https://%s", s.PublicURL.Host)
	case s.Insecure || s.TLS.On():
		return nil
	case !isLoopback(host) && len(s.Proxies) == 0:
		return wrong("listen", "%q is open to other machines, and passwords could be read on their way there; give --tls-cert and --tls-key, or --trusted-proxies with the address of the proxy that does TLS, or listen on 127.0.0.1 (--insecure-http allows it all the same)", s.Listen)
	case s.PublicURL != nil && !https && !isLoopback(s.PublicURL.Hostname()):
		return wrong("public-url", "begins with http://, so passwords could be read on their way; write https:// and let a proxy or --tls-cert and --tls-key do TLS (--insecure-http allows it all the same)")
	case !isLoopback(host) && !https:
		return wrong("public-url", "is missing or begins with http://, although a proxy is to do TLS; write the address people open, as in https://hoses.example.org")
	}
	return nil
}
