import { register } from '../views'

register({ id: 'edit', title: 'Edit', order: 40, load: () => import('./view').then((m) => m.EditView) })
