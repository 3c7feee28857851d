package rpc

import (
	"net"
	"sync"
)

// crowdControl closes connections beyond a number in all, or from one address.
type crowdControl struct {
	net.Listener
	most, mostPerAddress int

	mu    sync.Mutex
	count map[string]int
	total int
}

func limitConnections(l net.Listener, limits Limits) net.Listener {
	return &crowdControl{Listener: l, most: limits.Connections, mostPerAddress: limits.PerAddress, count: map[string]int{}}
}

// Accept returns the next connection that is within the limits.
func (c *crowdControl) Accept() (net.Conn, error) {
	for {
		conn, err := c.Listener.Accept()
		if err != nil {
			return nil, err
		}
		address := hostOf(conn.RemoteAddr())
		if c.enter(address) {
			return &counted{Conn: conn, leave: sync.OnceFunc(func() { c.leave(address) })}, nil
		}
		_ = conn.Close() // it is turned away, whatever closing says
	}
}

func hostOf(a net.Addr) string {
	if tcp, ok := a.(*net.TCPAddr); ok {
		return tcp.IP.String()
	}
	return a.String()
}

func (c *crowdControl) enter(address string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.total >= c.most || c.count[address] >= c.mostPerAddress {
		return false
	}
	c.total++
	c.count[address]++
	return true
}

func (c *crowdControl) leave(address string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.total--
	if c.count[address]--; c.count[address] == 0 {
		delete(c.count, address)
	}
}

// counted is a connection that is counted until it is closed.
type counted struct {
	net.Conn
	leave func()
}

func (c *counted) Close() error {
	c.leave()
	return c.Conn.Close()
}
