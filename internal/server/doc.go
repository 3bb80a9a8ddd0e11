// Package server answers HTTP: pages for people, rendered on the server.
//
// The main idea is that one table (route.go) lists every route with the right
// it needs, one guard (guard.go) stands before all of them, and one function
// (error.go) turns every error into a status and a sentence. A handler reads
// the request, calls a method of the store, and fills the struct of its page;
// the page is rendered into memory before the first byte is sent. Each subject
// has a file that declares the few methods of the store it calls.
//
// The package decides nothing about hoses, keeps no state between requests and
// knows no database.
package server
