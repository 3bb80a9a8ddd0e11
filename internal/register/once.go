package register

// Once names a request, so that what is sent twice is done once. The zero value
// names none: every request is carried out then.
type Once struct {
	Key     string // chosen by who sends it; one person's own
	Request string // hash of all that was sent
}

// Answer is what was answered to a request.
type Answer struct {
	Status int
	Body   []byte
	// Replayed says that the request was carried out before, and that this is
	// what was answered then.
	Replayed bool
}

// ChangedRow is one row that commands changed.
type ChangedRow struct {
	Entity  string // table name
	ID      int64
	Action  Action
	Version int // that it has now; 0 if it is gone or its kind of row has none
}
