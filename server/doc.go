// Package server is the shore: it receives what devices recorded, keeps it in a
// journal, derives the state that readers ask, and serves both on one listener.
//
//	s, err := server.Open(server.Config{Dir: dir, Services: []server.Service{…}})
//	err = s.Serve(ctx, listener) // until ctx ends
//	err = s.Close()
//
// It does no pond engineering: the services it is given do, in packages of their
// own.
package server
