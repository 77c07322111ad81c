declare module "htmx.org";
