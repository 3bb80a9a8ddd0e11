// Package api is the register for programs: JSON under /api/v1, described by an
// OpenAPI 3.1 document. It reads requests into the commands of package
// register, as the pages do, and has no rules of its own. It is the one home of
// huma, which checks requests against their schemas and writes the document.
// It knows neither sessions nor tokens: package server says who sends a request.
package api
