package session

// TakeAll takes every turn there is, until what it returns is called.
func TakeAll(p *Passwords) (release func()) {
	for range atOnce {
		p.turn <- struct{}{}
	}
	return func() {
		for range atOnce {
			<-p.turn
		}
	}
}

// Decoy is the hash that nobody's password is held to.
func Decoy(p *Passwords) string { return p.decoy }
