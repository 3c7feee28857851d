declare module '*.geojson?url' {
  const url: string;
  export default url;
}
