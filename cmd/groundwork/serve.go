package main

import (
	"context"
	"errors"

	"groundwork/internal/api"
)

type serveCommand struct {
	Folder  string `arg:"" optional:"" default:"." help:"Folder with your pieces, shops, photographs and solids." type:"path"`
	Port    int    `help:"Port to listen on; 0 takes any free one." default:"0" placeholder:"N"`
	Listen  string `help:"Address to listen on. Others can reach the page if it is not this machine's own (127.0.0.1)." default:"127.0.0.1" placeholder:"ADDRESS"`
	Open    bool   `help:"Open the page in your browser."`
	OpenAPI bool   `name:"openapi" help:"Print the OpenAPI description of the page's interface and end."`
}

func (c *serveCommand) Run(ctx context.Context, out *output) error {
	if c.OpenAPI {
		b, err := api.Description()
		if err != nil {
			return err
		}
		_, err = out.Out.Write(append(b, '\n'))
		return err
	}
	return errors.New("serving is not made yet")
}
