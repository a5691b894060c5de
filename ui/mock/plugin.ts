// For `npm run dev` only: either everything under /api goes to a running bench
// (FLUXBENCH_BENCH=http://127.0.0.1:PORT), or a small made-up bench answers, whose scene is chosen
// by `POST /api/scene {"scene": "bias", "tracks": 24}`. Nothing here is measured.
import type { Plugin, ViteDevServer } from "vite";
import { WebSocketServer, type WebSocket } from "ws";
import { Made } from "./made.ts";

export function bench(): Plugin {
  const real = process.env["FLUXBENCH_BENCH"];
  return {
    name: "bench",
    apply: "serve",
    config: () =>
      real ? { server: { proxy: { "/api": { target: real, ws: true, changeOrigin: true } } } } : {},
    configureServer(server: ViteDevServer) {
      if (real) return;
      const made = new Made();
      const sockets = new WebSocketServer({ noServer: true });
      server.httpServer?.on("upgrade", (request, socket, head) => {
        const path = (request.url ?? "").split("?")[0];
        if (!path?.startsWith("/api/sockets/")) return;
        sockets.handleUpgrade(request, socket, head, (open: WebSocket) => {
          const all = path.endsWith("events") ? made.eventListeners : made.meterListeners;
          const send = (text: string) => open.send(text);
          if (path.endsWith("events")) send(made.stateEvent());
          all.add(send);
          open.on("close", () => all.delete(send));
        });
      });
      server.middlewares.use((request, response, next) => {
        if (!request.url?.startsWith("/api/")) return next();
        let text = "";
        request.on("data", (piece: Buffer) => (text += piece.toString()));
        request.on("end", () => {
          const body = text ? (JSON.parse(text) as Record<string, unknown>) : null;
          const answer = made.answer(request.url!.slice(5), body);
          response.statusCode = answer ? 200 : 404;
          response.setHeader("Content-Type", "application/json");
          response.end(JSON.stringify(answer ?? { error: "there is no such call" }));
        });
      });
    },
  };
}
