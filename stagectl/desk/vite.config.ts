// How is the page built? Into web/, with the list of files that the daemon reads; nothing inline, nothing from elsewhere.
import { defineConfig } from "vite";

export default defineConfig({
  base: "/",
  build: {
    outDir: "web",
    emptyOutDir: true,
    manifest: "files.json",
    assetsInlineLimit: 0, // the content policy takes nothing inline
    modulePreload: { polyfill: false },
    target: "es2023",
    rollupOptions: { input: "src/main.ts" },
  },
});
