package rpc

// Routes are the methods and paths that no proto describes, with their
// placeholders.
func (s *Server) Routes() (list [][2]string) {
	for _, r := range s.routes() {
		list = append(list, [2]string{r.method, r.path})
	}
	return list
}
